#include "cli/cli.h"

namespace uroko::cli {

void add_curve(CLI::App&) {}

}  // namespace uroko::cli

#include "cli/cli.h"

namespace uroko::cli {

void add_measure(CLI::App&) {}

}  // namespace uroko::cli

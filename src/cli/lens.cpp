#include "cli/cli.h"

namespace uroko::cli {

void add_lens(CLI::App&) {}

}  // namespace uroko::cli

#include "cli/cli.h"

namespace uroko::cli {

void add_card(CLI::App&) {}

}  // namespace uroko::cli

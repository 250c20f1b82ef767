#include "cli/cli.h"

namespace uroko::cli {

void add_book(CLI::App&) {}

}  // namespace uroko::cli

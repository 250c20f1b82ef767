#include "cli/cli.h"

namespace uroko::cli {

void add_open(CLI::App& app, const OpenWindow& open_window) {
  auto* verb = app.add_subcommand("open", "Open the window on a case book");
  auto book = std::make_shared<std::string>();
  verb->add_option("BOOK", *book, "The case book; left out: the last one")->option_text("BOOK.uroko");
  verb->callback([=] { open_window(*book); });
}

}  // namespace uroko::cli

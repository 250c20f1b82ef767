#include "cli/cli.h"

#include <cstdio>
#include <exception>
#include <new>

#include "cli/book_report.h"
#include "cli/wrong_usage.h"
#include "uroko/base/error.h"

namespace uroko::cli {

int run(int argc, char** argv, const OpenWindow& open_window) {
  CLI::App app{"uroko measures ulcers of koi on dated photos: area in mm2 with its 95 % interval, what fills the wound bed, and whether it heals."};
  app.name("uroko");
  app.set_version_flag("--version", std::string("uroko ") + UROKO_VERSION);
  app.require_subcommand(0, 1);
  app.footer("Without a verb the window opens on the last case book.\nIt measures and does arithmetic; it does not diagnose and recommends no drug, dose or interval.");
  add_measure(app);
  add_card(app);
  add_lens(app);
  add_curve(app);
  add_book(app);
  for (auto* book : app.get_subcommands([](const CLI::App* verb) { return verb->get_name() == "book"; })) add_book_report(*book);
  add_open(app, open_window);
  add_guide(app);
  add_manual(app);
  try {
    app.parse(argc, argv);
    if (app.get_subcommands().empty()) return open_window({});
    return 0;
  } catch (const CLI::Success& e) {
    return app.exit(e);
  } catch (const CLI::ParseError& e) {
    std::fprintf(stderr, "uroko: %s\n", explain_usage(app, e).c_str());
    return static_cast<int>(Fault::usage);
  } catch (const Error& e) {
    std::fprintf(stderr, "uroko: %s\n", e.what());
    return e.exit_code();
  } catch (const std::bad_alloc&) {
    std::fprintf(stderr, "uroko: there is not enough memory; close other programs or give a smaller photo\n");
    return static_cast<int>(Fault::input);
  } catch (const std::exception& e) {
    std::fprintf(stderr, "uroko: something unforeseen went wrong (%s); nothing was changed\n", e.what());
    return static_cast<int>(Fault::input);
  }
}

}  // namespace uroko::cli

#include "cli/cli.h"
#include "uroko/gui/window.h"
#include "uroko/photo/worker.h"

int main(int argc, char** argv) {
  if (const auto code = uroko::photo::DecodingWorker::duty(argc, argv)) return *code;
  const uroko::photo::DecodingWorker decoding;  // before anything else: it forks
  return uroko::cli::run(argc, argv, uroko::gui::open_window);
}

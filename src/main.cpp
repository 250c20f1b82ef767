#include <cstdlib>
#include <optional>

#include "cli/cli.h"
#include "uroko/gui/window.h"
#include "uroko/photo/worker.h"

int main(int argc, char** argv) {
  if (const auto code = uroko::photo::DecodingWorker::duty(argc, argv)) return *code;
  // Before anything else: it forks. Under a debugger or memcheck, twenty times slower than its time limits allow for, photos are decoded here.
  std::optional<uroko::photo::DecodingWorker> decoding;
  if (std::getenv("UROKO_DECODE_HERE") == nullptr) decoding.emplace();
  return uroko::cli::run(argc, argv, uroko::gui::open_window);
}

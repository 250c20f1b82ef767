#include "uroko/base/error.h"

namespace uroko {

namespace {
/// Words from a file or a name may hold line ends: the message stays one line, and a terminal is not steered by it.
std::string one_line(const std::filesystem::path& file, const std::string& happened, const std::string& advice) {
  std::string line = file.empty() ? happened : file.string() + ": " + happened;
  if (!advice.empty()) line += "; " + advice;
  for (auto& c : line)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = ' ';
  return line;
}
}  // namespace

Error::Error(Fault fault, std::string code, std::filesystem::path file, std::string happened, std::string advice)
    : std::runtime_error(one_line(file, happened, advice)),
      fault_(fault),
      code_(std::move(code)),
      file_(std::move(file)),
      happened_(std::move(happened)),
      advice_(std::move(advice)) {}

}  // namespace uroko

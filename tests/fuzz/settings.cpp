// A person's settings: damaged ones are the defaults, values out of range are brought back.
#include "scratch.h"
#include "uroko/app/settings.h"

using namespace uroko;

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto read = app::load_settings(fuzz::put("settings.json", fuzz::text(data, size)));
  fuzz::must(read.scale_percent == 0 || (read.scale_percent >= 75 && read.scale_percent <= 300));
  fuzz::must(read.print_scale >= 0.5 && read.print_scale <= 2 && read.degree_day_base_c >= -5 && read.degree_day_base_c <= 20);
  fuzz::must(read.recent_books.size() <= 8);
  const auto file = fuzz::scratch() / "again.json";
  app::save_settings(read, file);
  const auto again = app::load_settings(file);
  fuzz::must(again.scale_percent == read.scale_percent && again.last_book == read.last_book && again.recent_books == read.recent_books);
  return 0;
}

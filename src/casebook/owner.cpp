#include "uroko/casebook/book.h"

namespace uroko::casebook {

namespace {
std::string key(Id fish) { return std::string(kOwnerLabel) + "." + std::to_string(fish); }
}  // namespace

std::string owner_label(const Book& book, Id fish) {
  if (auto own = book.setting(key(fish)); own && !own->empty()) return *own;
  return book.setting(kOwnerLabel).value_or("");
}

void set_owner_label(Book& book, Id fish, const std::string& label) { book.set_setting(key(fish), label); }

}  // namespace uroko::casebook

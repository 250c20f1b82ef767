// The queue of writes into the case book (writes.h). Everything here but the work itself runs on the window's thread.
#include <exception>

#include "app/book_access.h"
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"

namespace uroko::app {

std::uint64_t Session::write(Write one) {
  one.id = next_write_++;
  const auto id = one.id;
  writes_.push_back(std::move(one));
  carry_out_next();
  return id;
}

void Session::carry_out_next() {
  while (!write_under_way_ && !writes_.empty() && !writes_.front().work) {
    const auto done = std::move(writes_.front().done);
    writes_.pop_front();
    done();
  }
  if (write_under_way_ || writes_.empty()) return;
  write_under_way_ = true;
  // No other book comes while a write waits: `access` is still the open one when this comes back.
  writing_.start(writes_.front().label, [this, work = writes_.front().work, access = access_, of = fish](const Token& token) -> Jobs::Delivery {
    std::optional<Error> error;
    std::shared_ptr<BookModel> now;
    try {
      carry_out(access->writing, [&](casebook::Book& book) { work(book, token); });
    } catch (const Error& e) {
      error = e;
    } catch (const std::exception& e) {
      error = Error(Fault::book, "failed", access->folder, std::string("the change could not be made (") + e.what() + ") and nothing was saved", "try again");
    }
    try {
      now = std::make_shared<BookModel>(read_tree(access->writing));
      if (auto* shown = fish_in(*now, of)) read_fish(access->writing, *shown);
    } catch (const std::exception&) {
      now.reset();  // the book cannot be read just now: what was known stays on the screen, and the next reading tries again
    }
    // Moved, not shared: the last one to hold the old book takes it apart, and that must be the worker.
    return [this, error, now = std::move(now)]() mutable { written(error, std::move(now)); };
  });
}

void Session::written(const std::optional<Error>& error, std::shared_ptr<BookModel> now) {
  const auto one = std::move(writes_.front());
  writes_.pop_front();
  write_under_way_ = false;
  if (now) adopt(std::move(now));
  if (!error) {
    if (one.done) one.done();
  } else {
    if (leaving_) stay();  // the person sees what was not saved before anything closes
    if (!one.steps_back)
      while (!writes_.empty() && writes_.front().steps_back) writes_.pop_front();  // there is nothing that it could take back
    if (!one.refused || !one.refused(*error)) not_saved.push_back({one, "Not saved: " + one.what + ". " + sentence(error->happened()), sentence(error->advice())});
  }
  recompute_course();
  carry_out_next();
  if (writes_.empty()) read_the_rest();
}

void Session::try_again(std::size_t index) {
  if (index >= not_saved.size()) return;
  auto again = std::move(not_saved[index].write);
  not_saved.erase(not_saved.begin() + static_cast<std::ptrdiff_t>(index));
  write(std::move(again));
}

void Session::give_up(std::size_t index) {
  if (index < not_saved.size()) not_saved.erase(not_saved.begin() + static_cast<std::ptrdiff_t>(index));
}

void Session::when_saved(std::string what, std::function<void()> then) {
  if (writes_.empty() && not_saved.empty()) return then();
  leaving_ = {std::move(what), std::move(then)};
}

void Session::leave() {
  when_saved("Quitting", [this] { quit = true; });
}

void Session::stay() {
  leaving_.reset();
  opening.reset();
}

void Session::leave_without_saving() {
  not_saved.clear();  // what still waits is written first
}

void Session::finish_writing() {
  while (!writes_.empty()) writing_.settle();
}

}  // namespace uroko::app

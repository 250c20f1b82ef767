#pragma once
#include <cstdint>
#include <functional>
#include <string>

#include "uroko/base/error.h"
#include "uroko/base/token.h"

namespace uroko::casebook {
class Book;
}

namespace uroko::app {

// How the window writes into the case book. A write is made of values on the window's thread and put at the end of a queue; one worker carries
// the writes out in that order, each as one step of the book's own undo, and reads what the window shows of the book anew. What comes back is shown
// by the window's thread: the book's new state, or why it was not saved, told where the person asked for it. Until then the window shows the
// book as it was and says "saving". Opening another book, closing it and quitting wait until the queue is empty.

struct Write {
  std::string label;  ///< meanwhile: "Saving the margin"
  std::string what;   ///< when it fails: "the margin of 2026-03-05"
  /// On the worker. Nothing: only `done` is wanted, once all before it is in the book.
  std::function<void(casebook::Book&, const Token&)> work;
  std::function<void()> done;  ///< the book holds it and the window shows it
  /// It was not saved. True: told in its place, where what was typed or traced is still there; otherwise it is kept in Session::not_saved.
  std::function<bool(const Error&)> refused;
  bool steps_back = false;  ///< undo or redo: dropped when the write that it follows failed
  std::uint64_t id = 0;
};

/// A write that failed after the place where it was asked for had gone.
struct NotSaved {
  Write write;
  std::string text, advice;
};

}  // namespace uroko::app

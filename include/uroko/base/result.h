#pragma once
#include <cassert>
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace uroko {

/// An expected outcome that is not a value: no card found, a fit refused. Nothing was changed.
/// `code` is a short stable word for scripts; `text` says what happened; `advice` what to do next.
struct Refusal {
  std::string code;
  std::string text;
  std::string advice;
};

/// A value, or the reason why there is none.
template <class T>
class Result {
 public:
  Result(T value) : held_(std::in_place_index<0>, std::move(value)) {}
  Result(Refusal refusal) : held_(std::in_place_index<1>, std::move(refusal)) {}

  bool ok() const { return held_.index() == 0; }
  explicit operator bool() const { return ok(); }
  /// Precondition: ok().
  const T& value() const& { assert(ok()); return std::get<0>(held_); }
  T& value() & { assert(ok()); return std::get<0>(held_); }
  T&& value() && { assert(ok()); return std::get<0>(std::move(held_)); }
  const T& operator*() const& { return value(); }
  T& operator*() & { return value(); }
  const T* operator->() const { return &value(); }
  T* operator->() { return &value(); }
  /// Precondition: !ok().
  const Refusal& refusal() const { assert(!ok()); return std::get<1>(held_); }

 private:
  std::variant<T, Refusal> held_;
};

}  // namespace uroko

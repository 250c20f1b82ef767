#pragma once
#include <algorithm>
#include <cassert>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace uroko::app {

/// Undo as labelled snapshots: the label is the menu's text ("Undo move a point"). The first snapshot is the ground state.
template <class State>
class History {
 public:
  struct Step {
    std::string label;
    State state;
    std::uint64_t id = 0;  ///< its own for as long as the history lives: places shift when the oldest steps are dropped
  };
  explicit History(State ground = {}, std::size_t most = 200) : most_(most) { steps_.push_back({"", std::move(ground), next_id_++}); }

  const State& now() const { return steps_[at_].state; }
  /// Changes what is shown without a step of its own: a result that belongs to the present step arrived.
  void amend(State state) { steps_[at_].state = std::move(state); }
  void commit(std::string label, State state) {
    steps_.resize(at_ + 1);
    steps_.push_back({std::move(label), std::move(state), next_id_++});
    if (steps_.size() > most_) steps_.erase(steps_.begin());
    at_ = steps_.size() - 1;
  }
  bool can_undo() const { return at_ > 0; }
  bool can_redo() const { return at_ + 1 < steps_.size(); }
  const std::string& undo_label() const { assert(can_undo()); return steps_[at_].label; }
  const std::string& redo_label() const { assert(can_redo()); return steps_[at_ + 1].label; }
  bool undo() { return can_undo() ? (--at_, true) : false; }
  bool redo() { return can_redo() ? (++at_, true) : false; }
  void clear(State ground) {
    steps_.assign(1, {"", std::move(ground), next_id_++});
    at_ = 0;
  }

  const std::vector<Step>& steps() const { return steps_; }
  std::size_t at() const { return at_; }
  std::uint64_t id() const { return steps_[at_].id; }  ///< of the present step
  std::optional<std::size_t> place_of(std::uint64_t id) const {
    const auto found = std::find_if(steps_.begin(), steps_.end(), [&](const Step& s) { return s.id == id; });
    if (found == steps_.end()) return std::nullopt;
    return static_cast<std::size_t>(found - steps_.begin());
  }
  /// As kept from an earlier run. Precondition: at < steps.size().
  void restore(std::vector<Step> steps, std::size_t at) {
    assert(at < steps.size());
    steps_ = std::move(steps);
    for (auto& step : steps_) step.id = next_id_++;
    at_ = at;
  }

 private:
  std::vector<Step> steps_;
  std::size_t at_ = 0, most_;
  std::uint64_t next_id_ = 1;
};

}  // namespace uroko::app

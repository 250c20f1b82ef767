#include "uroko/app/jobs.h"

#include <algorithm>
#include <chrono>
#include <exception>

namespace uroko::app {

Jobs::Jobs(int workers) {
  for (int i = 0; i < workers; ++i) workers_.emplace_back([this] { run(); });
}

Jobs::~Jobs() {
  {
    std::lock_guard lock(mutex_);
    stopping_ = true;
    waiting_.clear();
    for (const auto& job : running_) job.token.cancel();
  }
  changed_.notify_all();
  for (auto& worker : workers_) worker.join();
}

Token Jobs::start(std::string label, Work work, bool urgent, bool quiet) {
  std::lock_guard lock(mutex_);
  Item item{{next_++, std::move(label), Token(), quiet}, std::move(work)};
  Token token = item.about.token;
  if (urgent)
    waiting_.push_front(std::move(item));
  else
    waiting_.push_back(std::move(item));
  changed_.notify_one();
  return token;
}

void Jobs::run() {
  std::unique_lock lock(mutex_);
  for (;;) {
    changed_.wait(lock, [&] { return stopping_ || !waiting_.empty(); });
    if (stopping_) return;
    Item item = std::move(waiting_.front());
    waiting_.pop_front();
    running_.push_back(item.about);
    lock.unlock();

    Delivery delivery;
    if (!item.about.token.cancelled()) {
      try {
        delivery = item.work(item.about.token);
      } catch (...) {
        delivery = [this, label = item.about.label, trouble = std::current_exception()] {
          if (on_trouble) on_trouble(label, trouble);
        };
      }
    }
    item.work = nullptr;

    lock.lock();
    std::erase_if(running_, [&](const Running& r) { return r.id == item.about.id; });
    if (delivery && !item.about.token.cancelled()) finished_.push_back(std::move(delivery));
    changed_.notify_all();
    if (wake_) wake_();
  }
}

void Jobs::set_wake(std::function<void()> wake) {
  std::lock_guard lock(mutex_);  // the workers run already
  wake_.swap(wake);
}

bool Jobs::deliver() {
  std::deque<Delivery> ready;
  {
    std::lock_guard lock(mutex_);
    ready.swap(finished_);
  }
  for (auto& delivery : ready) delivery();
  return !ready.empty();
}

bool Jobs::idle() const {
  std::lock_guard lock(mutex_);
  return waiting_.empty() && running_.empty() && finished_.empty();
}

std::vector<Jobs::Running> Jobs::running() const {
  std::lock_guard lock(mutex_);
  auto all = running_;
  for (const auto& item : waiting_) all.push_back(item.about);
  return all;
}

void Jobs::cancel_all() {
  std::lock_guard lock(mutex_);
  waiting_.clear();
  for (const auto& job : running_) job.token.cancel();
}

bool Jobs::settle(double seconds) {
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
  for (;;) {
    deliver();
    std::unique_lock lock(mutex_);
    if (waiting_.empty() && running_.empty() && finished_.empty()) return true;
    if (finished_.empty() && changed_.wait_until(lock, end, [&] { return !finished_.empty() || (waiting_.empty() && running_.empty()); }) == false) return false;
  }
}

}  // namespace uroko::app

#pragma once
#include "app/typed.h"
#include "uroko/app/session.h"
#include "uroko/base/error.h"

namespace uroko::app {

/// The form stays until the book holds what it says; where it was refused it says why, with everything still in it.
template <class Form>
void Session::write_form(Write w, std::optional<Form>& form, const char* field) {
  const auto id = next_write_;
  w.done = [&form, id, then = std::move(w.done)] {
    if (form && form->write == id) form.reset();
    if (then) then();
  };
  w.refused = [this, &form, id, field](const Error& e) {
    if (!form || form->write != id || opening) return false;
    form->write = 0;
    form->fault.say(sentence(e.happened()) + " " + sentence(e.advice()), e.fault() == Fault::usage ? field : "");
    return true;
  };
  form->write = id;
  last_change_ = Change::book;
  write(std::move(w));
}

}  // namespace uroko::app

#pragma once
#include <optional>
#include <string>

#include "uroko/app/forms.h"
#include "uroko/base/date.h"

namespace uroko::app {

/// Empty text: nothing. Not a number or out of range: nothing, and `fault` says so at that field.
std::optional<double> optional_number(const std::string& text, const char* what, double least, double most, FormFault& fault, const char* field);

/// ISO 8601 with or without a time, or day.month.year with dots (19.3.2026): dots stand for that order only.
std::optional<DateTime> typed_date(const std::string& text);
/// The same; anything else is a fault at that field.
std::optional<DateTime> needed_date(const std::string& text, FormFault& fault, const char* field);

/// Which fish and which wound: a name that is missing is a fault at its field.
void need_names(const std::string& fish, const char* fish_field, const std::string& wound, const char* wound_field, FormFault& fault);

/// A refusal's words as a sentence: a capital first, a full stop last; nothing stays nothing.
std::string sentence(std::string words);

}  // namespace uroko::app

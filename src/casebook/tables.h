#pragma once
#include <type_traits>

#include "casebook/database.h"
#include "uroko/base/error.h"
#include "uroko/casebook/records.h"

namespace uroko::casebook {

/// One description of every record: its table and its columns (the id apart). Selecting, inserting, comparing, undoing and CSV all follow it.
template <class Row> struct Table;

template <> struct Table<Fish> {
  static constexpr const char* name = "fish";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("name", r.name), v("variety", r.variety), v("length_mm", r.length_mm), v("note", r.note), v("place", r.place);
  }
};
template <> struct Table<Wound> {
  static constexpr const char* name = "wound";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("name", r.name), v("site", r.site), v("side", r.side), v("traced_margin", r.traced_margin), v("note", r.note);
    v("outline_x", r.outline_x), v("outline_y", r.outline_y), v("closed", r.closed);
  }
};
template <> struct Table<Visit> {
  static constexpr const char* name = "visit";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("date", r.date), v("date_from", r.date_from), v("water_c", r.water_c), v("note", r.note), v("next_look", r.next_look);
  }
};
template <> struct Table<PhotoRow> {
  static constexpr const char* name = "photo";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("visit", r.visit), v("wound", r.wound), v("sha256", r.sha256), v("original_name", r.original_name), v("extension", r.extension);
    v("width_px", r.width_px), v("height_px", r.height_px), v("taken", r.taken), v("taken_from", r.taken_from), v("camera", r.camera);
    v("bytes", r.bytes), v("moment", r.moment), v("note", r.note);
  }
};
template <> struct Table<MeasureRow> {
  static constexpr const char* name = "measure";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("photo", r.photo), v("revision", r.revision), v("made", r.made), v("area_mm2", r.area_mm2), v("u_mm2", r.u_mm2);
    v("low95", r.low95), v("high95", r.high95), v("perimeter_mm", r.perimeter_mm), v("length_mm", r.length_mm), v("width_mm", r.width_mm);
    v("margin_wkt", r.margin_wkt), v("margin_from", r.margin_from), v("scale_json", r.scale_json), v("budget_json", r.budget_json);
    v("bed_json", r.bed_json), v("warnings_json", r.warnings_json), v("options_json", r.options_json), v("program", r.program);
    v("traced", r.traced), v("photo_sha256", r.photo_sha256);
  }
};
template <> struct Table<Event> {
  static constexpr const char* name = "event";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("wound", r.wound), v("date", r.date), v("kind", r.kind), v("product", r.product), v("note", r.note), v("prescription", r.prescription);
  }
};
template <> struct Table<Weight> {
  static constexpr const char* name = "weight";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("date", r.date), v("grams", r.grams), v("method", r.method), v("note", r.note);
  }
};
template <> struct Table<WaterReading> {
  static constexpr const char* name = "water";
  template <class V, class R> static void columns(V&& v, R& r) { v("place", r.place), v("date", r.date), v("water_c", r.water_c), v("note", r.note); }
};
template <> struct Table<Swab> {
  static constexpr const char* name = "swab";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("wound", r.wound), v("taken", r.taken), v("site", r.site), v("sent", r.sent), v("laboratory", r.laboratory);
    v("reported", r.reported), v("method", r.method), v("temperature_c", r.temperature_c), v("note", r.note);
  }
};
template <> struct Table<Finding> {
  static constexpr const char* name = "finding";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("swab", r.swab), v("organism", r.organism), v("agent", r.agent), v("letter", r.letter), v("note", r.note);
  }
};
template <> struct Table<Prescription> {
  static constexpr const char* name = "prescription";
  template <class V, class R> static void columns(V&& v, R& r) {
    v("fish", r.fish), v("wound", r.wound), v("written", r.written), v("drug", r.drug), v("mg_per_kg", r.mg_per_kg), v("mg_per_ml", r.mg_per_ml);
    v("route", r.route), v("interval_hours", r.interval_hours), v("doses", r.doses), v("prescriber", r.prescriber), v("note", r.note), v("stopped", r.stopped);
  }
};
/// A setting of the book.
struct Setting { Id id = 0; std::string name, content; };
template <> struct Table<Setting> {
  static constexpr const char* name = "setting";
  template <class V, class R> static void columns(V&& v, R& r) { v("name", r.name), v("content", r.content); }
};

template <class F> void for_each_table(F&& f) {
  f(Fish{}), f(Wound{}), f(Visit{}), f(PhotoRow{}), f(MeasureRow{}), f(Event{}), f(Weight{}), f(WaterReading{}), f(Swab{}), f(Finding{}), f(Prescription{}),
      f(Setting{});
}

// ---- one field <-> one cell

template <class T> struct Optional : std::false_type {};
template <class T> struct Optional<std::optional<T>> : std::true_type {};

template <class T> constexpr char cell_type() {
  if constexpr (Optional<T>::value) return cell_type<typename T::value_type>();
  else if constexpr (std::is_same_v<T, double>) return 'd';
  else if constexpr (std::is_integral_v<T>) return 'i';
  else return 't';
}

/// Bytes that are not UTF-8 become U+FFFD, so that every text can be written as JSON and to any database.
std::string clean_utf8(const std::string& text);

template <class T> Value to_value(const T& field) {
  if constexpr (Optional<T>::value) return field ? to_value(*field) : Value{};
  else if constexpr (std::is_same_v<T, double>) return field;
  else if constexpr (std::is_integral_v<T>) return static_cast<long long>(field);
  else if constexpr (std::is_same_v<T, DateTime>) return field.iso();
  else if constexpr (std::is_same_v<T, photo::DateSource>) return std::string(photo::name(field));
  else return clean_utf8(field);
}

/// false when the cell does not hold such a value.
template <class T> bool from_value(const Value& cell, T& field) {
  if constexpr (Optional<T>::value) {
    field.reset();
    if (std::holds_alternative<std::monostate>(cell)) return true;
    typename T::value_type inner{};
    if (!from_value(cell, inner)) return false;
    field = inner;
    return true;
  } else if constexpr (std::is_same_v<T, double>) {
    const auto* d = std::get_if<double>(&cell);
    return d && (field = *d, true);
  } else if constexpr (std::is_integral_v<T>) {
    const auto* i = std::get_if<long long>(&cell);
    return i && (field = static_cast<T>(*i), static_cast<long long>(field) == *i);
  } else {
    const auto* s = std::get_if<std::string>(&cell);
    if (!s) return false;
    if constexpr (std::is_same_v<T, DateTime>) {
      const auto date = DateTime::parse(*s);
      return date && (field = *date, true);
    } else if constexpr (std::is_same_v<T, photo::DateSource>) {
      const auto source = photo::date_source_named(*s);
      return source && (field = *source, true);
    } else {
      field = *s;
      return true;
    }
  }
}

struct Column {
  std::string name;
  char type;
};

template <class Row> const std::vector<Column>& columns_of() {
  static const std::vector<Column> columns = [] {
    std::vector<Column> out;
    Row row;
    Table<Row>::columns([&](const char* name, const auto& field) { out.push_back({name, cell_type<std::decay_t<decltype(field)>>()}); }, row);
    return out;
  }();
  return columns;
}

template <class Row> Values values_of(const Row& row) {
  Values out;
  Table<Row>::columns([&](const char*, const auto& field) { out.push_back(to_value(field)); }, row);
  return out;
}

/// "t.id, t.name, ..." and the matching letters for Database::each.
template <class Row> std::string column_list(const std::string& alias = "t") {
  std::string out = alias + ".id";
  for (const auto& column : columns_of<Row>()) out += ", " + alias + "." + column.name;
  return out;
}
template <class Row> std::string column_types() {
  std::string out = "i";
  for (const auto& column : columns_of<Row>()) out += column.type;
  return out;
}

/// The record in `cells` from `at` on (id first). Throws Error(Fault::book) when a cell is not what its column promises.
template <class Row> Row record_from(const Database& database, const Values& cells, std::size_t at = 0) {
  Row row;
  const auto bad = [&](const char* column) {
    throw Error(Fault::book, "damaged", database.file(), std::string("a row of ") + Table<Row>::name + " holds something else than its " + column,
                "run uroko book check; restore the latest backup");
  };
  if (!from_value(cells[at++], row.id)) bad("id");
  Table<Row>::columns([&](const char* name, auto& field) { if (!from_value(cells[at++], field)) bad(name); }, row);
  return row;
}

/// SELECT of whole records: `rest` follows "SELECT columns FROM table t ".
template <class Row> std::vector<Row> select(const Database& database, const std::string& rest, const Values& arguments = {}) {
  std::vector<Row> out;
  database.each("SELECT " + column_list<Row>() + " FROM " + Table<Row>::name + " t " + rest, column_types<Row>(), arguments,
                [&](const Values& cells) { out.push_back(record_from<Row>(database, cells)); });
  return out;
}

}  // namespace uroko::casebook

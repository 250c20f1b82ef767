#include "report/text.h"

#include <cmath>

#include "uroko/base/text.h"
#include "uroko/report/paint.h"
#include "uroko/report/words.h"

namespace uroko::report {
namespace {

// A context without a drawing, with metrics not rounded to pixels, so that widths scale exactly. One a thread: Pango contexts are not shared.
PangoContext* bare_context() {
  thread_local std::unique_ptr<PangoContext, GObjectDeleter> context([] {
    PangoFontMap* map = pango_cairo_font_map_get_default();
    pango_cairo_font_map_set_resolution(PANGO_CAIRO_FONT_MAP(map), 72);
    PangoContext* c = pango_font_map_create_context(map);
    cairo_font_options_t* options = cairo_font_options_create();
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    pango_cairo_context_set_font_options(c, options);
    cairo_font_options_destroy(options);
    pango_context_set_round_glyph_positions(c, FALSE);
    return c;
  }());
  return context.get();
}

void set_font(PangoLayout* layout, double size, bool bold) {
  PangoFontDescription* font = pango_font_description_new();
  pango_font_description_set_family_static(font, "DejaVu Sans");
  pango_font_description_set_weight(font, bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
  pango_layout_set_font_description(layout, font);
  pango_font_description_free(font);
}

}  // namespace

std::string printable(const std::string& text) {
  char* valid = g_utf8_make_valid(text.data(), static_cast<gssize>(text.size()));
  std::string out = valid;
  g_free(valid);
  for (char& c : out)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = ' ';
  return out;
}

Layout line_layout(cairo_t* cr, const std::string& text, double size, bool bold) {
  Layout layout(pango_layout_new(bare_context()));
  if (cr) pango_cairo_update_layout(cr, layout.get());
  set_font(layout.get(), size, bold);
  pango_layout_set_single_paragraph_mode(layout.get(), TRUE);
  // No ligatures: a hash or a name copied out of the PDF keeps its letters.
  PangoAttrList* attributes = pango_attr_list_new();
  pango_attr_list_insert(attributes, pango_attr_font_features_new("liga=0, clig=0"));
  pango_layout_set_attributes(layout.get(), attributes);
  pango_attr_list_unref(attributes);
  const std::string clean = printable(text);
  pango_layout_set_text(layout.get(), clean.data(), static_cast<int>(clean.size()));
  return layout;
}

double text_width(const std::string& text, double size, bool bold) {
  const auto layout = line_layout(nullptr, text, size, bold);
  PangoRectangle logical;
  pango_layout_get_extents(layout.get(), nullptr, &logical);
  return static_cast<double>(logical.width) / PANGO_SCALE;
}

std::vector<std::string> wrapped(const std::string& text, double size, double width, bool bold) {
  std::vector<std::string> lines;
  for (std::size_t start = 0; start <= text.size();) {
    std::size_t end = text.find('\n', start);
    if (end == std::string::npos) end = text.size();
    const std::string paragraph = printable(text.substr(start, end - start));
    Layout layout = line_layout(nullptr, paragraph, size, bold);
    pango_layout_set_single_paragraph_mode(layout.get(), FALSE);
    pango_layout_set_width(layout.get(), static_cast<int>(std::floor(std::max(width, size) * PANGO_SCALE)));
    pango_layout_set_wrap(layout.get(), PANGO_WRAP_WORD_CHAR);
    for (int i = 0; i < pango_layout_get_line_count(layout.get()); ++i) {
      const PangoLayoutLine* line = pango_layout_get_line_readonly(layout.get(), i);
      std::string piece = paragraph.substr(static_cast<std::size_t>(line->start_index), static_cast<std::size_t>(line->length));
      while (!piece.empty() && piece.back() == ' ') piece.pop_back();
      lines.push_back(std::move(piece));
    }
    start = end + 1;
  }
  return lines;
}

std::string fitted(const std::string& text, double size, double width, bool bold) {
  std::string clean = printable(text);
  if (text_width(clean, size, bold) <= width) return clean;
  const char* begin = clean.c_str();
  for (glong keep = g_utf8_strlen(begin, -1) - 1; keep > 0; --keep) {
    std::string shorter = clean.substr(0, static_cast<std::size_t>(g_utf8_offset_to_pointer(begin, keep) - begin));
    while (!shorter.empty() && shorter.back() == ' ') shorter.pop_back();
    shorter += "…";
    if (text_width(shorter, size, bold) <= width) return shorter;
  }
  return "…";
}

std::string mm2_text(double mm2) {
  const double size = std::abs(mm2);
  return fixed_text(mm2, size >= 99.95 ? 0 : size >= 9.995 ? 1 : 2);
}

std::string range_text(const Estimate& e) {
  const double size = std::abs(e.value);
  const int decimals = size >= 99.95 ? 0 : size >= 9.995 ? 1 : 2;
  return fixed_text(e.low95, decimals) + "–" + fixed_text(e.high95, decimals);
}

std::string signed_text(double value, int decimals) {
  std::string digits = fixed_text(std::abs(value), decimals);
  if (digits.find_first_not_of("0.") == std::string::npos) return digits;
  return (value < 0 ? "−" : "+") + digits;
}

std::string short_date(const DateTime& date, bool year) {
  static const char* const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  std::string text = std::to_string(date.day) + " " + months[(date.month + 11) % 12];
  return year ? text + " " + std::to_string(date.year) : text;
}

}  // namespace uroko::report

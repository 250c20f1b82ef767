#include "uroko/report/card_print.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <pango/pangocairo.h>

#include <cmath>
#include <map>
#include <memory>
#include <opencv2/imgproc.hpp>

#include "report/pdf_finish.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::report {

namespace {

using Surface = std::unique_ptr<cairo_surface_t, decltype(&cairo_surface_destroy)>;
using Context = std::unique_ptr<cairo_t, decltype(&cairo_destroy)>;

/// `size`: em height in the context's unit; x, y: left end of the baseline.
/// As outlines in pictures; as real text, which can be searched and copied, on a PDF's page.
void draw_text(cairo_t* cr, double x, double y, double size, const std::string& text, bool bold) {
  const std::unique_ptr<PangoLayout, decltype(&g_object_unref)> layout(pango_cairo_create_layout(cr), &g_object_unref);
  const std::unique_ptr<PangoFontDescription, decltype(&pango_font_description_free)> font(pango_font_description_new(),
                                                                                           &pango_font_description_free);
  pango_font_description_set_family(font.get(), "DejaVu Sans");
  pango_font_description_set_weight(font.get(), bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
  // Hinting works in whole units, so letters are laid out large and drawn small.
  constexpr double enlarge = 10;
  pango_font_description_set_absolute_size(font.get(), size * enlarge * PANGO_SCALE);
  const std::unique_ptr<cairo_font_options_t, decltype(&cairo_font_options_destroy)> options(cairo_font_options_create(),
                                                                                             &cairo_font_options_destroy);
  cairo_font_options_set_hint_style(options.get(), CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options.get(), CAIRO_HINT_METRICS_OFF);
  pango_cairo_context_set_font_options(pango_layout_get_context(layout.get()), options.get());
  pango_layout_set_font_description(layout.get(), font.get());
  pango_layout_set_text(layout.get(), text.c_str(), -1);
  const double baseline = pango_layout_get_baseline(layout.get()) / static_cast<double>(PANGO_SCALE);
  cairo_save(cr);
  cairo_translate(cr, x, y);
  cairo_scale(cr, 1 / enlarge, 1 / enlarge);
  cairo_move_to(cr, 0, -baseline);
  if (cairo_surface_get_type(cairo_get_target(cr)) == CAIRO_SURFACE_TYPE_PDF) {
    pango_cairo_show_layout(cr, layout.get());
  } else {
    pango_cairo_layout_path(cr, layout.get());
    cairo_fill(cr);
  }
  cairo_restore(cr);
}

/// The context's unit is mm.
void draw_card(cairo_t* cr, const scale::CardLayout& card) {
  // All shapes of one grey are one path: neighbours that share an edge leave no seam.
  std::map<double, std::vector<const scale::CardLayout::Rect*>> by_grey;
  for (const auto& rect : card.rects) by_grey[rect.grey].push_back(&rect);
  for (const auto& [grey, rects] : by_grey) {
    cairo_set_source_rgb(cr, grey, grey, grey);
    for (const auto* rect : rects) cairo_rectangle(cr, rect->x, rect->y, rect->w, rect->h);
    cairo_fill(cr);
  }
  cairo_set_line_cap(cr, CAIRO_LINE_CAP_BUTT);
  for (const auto& line : card.lines) {
    cairo_set_source_rgb(cr, line.grey, line.grey, line.grey);
    cairo_set_line_width(cr, line.width_mm);
    cairo_move_to(cr, line.x1, line.y1);
    cairo_line_to(cr, line.x2, line.y2);
    cairo_stroke(cr);
  }
  cairo_set_source_rgb(cr, 0, 0, 0);
  for (const auto& text : card.texts) draw_text(cr, text.x, text.y, text.size_mm, text.text, text.bold);
}

cairo_status_t append(void* closure, const unsigned char* bytes, unsigned int count) {
  static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

}  // namespace

cv::Mat card_picture(const scale::CardLayout& card, double px_per_mm) {
  const int width = static_cast<int>(std::lround(card.width_mm * px_per_mm)), height = static_cast<int>(std::lround(card.height_mm * px_per_mm));
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height), &cairo_surface_destroy);
  const Context cr(cairo_create(surface.get()), &cairo_destroy);
  cairo_set_source_rgb(cr.get(), 1, 1, 1);
  cairo_paint(cr.get());
  cairo_set_antialias(cr.get(), CAIRO_ANTIALIAS_BEST);
  cairo_scale(cr.get(), px_per_mm, px_per_mm);
  draw_card(cr.get(), card);
  cairo_surface_flush(surface.get());
  const cv::Mat bgrx(height, width, CV_8UC4, cairo_image_surface_get_data(surface.get()),
                     static_cast<std::size_t>(cairo_image_surface_get_stride(surface.get())));
  cv::Mat bgr;
  cv::cvtColor(bgrx, bgr, cv::COLOR_BGRA2BGR);
  return bgr;
}

cv::Mat card_picture(double px_per_mm) { return card_picture(scale::card_layout(), px_per_mm); }

std::string card_page(const scale::CardLayout& card, const std::string& extension, Paper paper) {
  // ISO 216 A4 and ANSI letter (8.5 x 11 inch), laid crosswise when the card is wide.
  double width = paper == Paper::a4 ? 210 : 215.9, height = paper == Paper::a4 ? 297 : 279.4;
  if (card.width_mm > width - 20) std::swap(width, height);
  constexpr double points = 72 / 25.4;
  std::string bytes;
  About about;
  about.title = &card == &scale::lens_sheet_layout() ? "uroko lens sheet" : "uroko reference card";
  about.author = std::string("uroko ") + UROKO_VERSION;
  Surface surface(nullptr, &cairo_surface_destroy);
  if (extension == ".pdf") {
    surface.reset(cairo_pdf_surface_create_for_stream(&append, &bytes, width * points, height * points));
    cairo_pdf_surface_restrict_to_version(surface.get(), CAIRO_PDF_VERSION_1_5);
    cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, about.title.c_str());
    cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_AUTHOR, about.author.c_str());
    cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATOR, about.author.c_str());
  } else if (extension == ".svg") {
    surface.reset(cairo_svg_surface_create_for_stream(&append, &bytes, width * points, height * points));
    cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PT);
  } else {
    throw Error(Fault::usage, "extension", "", "a page cannot be written as \"" + extension + "\"", "give a name that ends in .pdf, .svg or .png");
  }
  {
    const Context cr(cairo_create(surface.get()), &cairo_destroy);
    cairo_scale(cr.get(), points, points);
    cairo_set_source_rgb(cr.get(), 1, 1, 1);
    cairo_paint(cr.get());
    const auto tagged = [&](const char* type, const auto& draw) {
      if (extension == ".pdf") cairo_tag_begin(cr.get(), type, nullptr);
      draw();
      if (extension == ".pdf") cairo_tag_end(cr.get(), type);
    };
    if (extension == ".pdf") cairo_tag_begin(cr.get(), "Document", nullptr);
    const double x = (width - card.width_mm) / 2, y = card.height_mm > height / 2 ? 10 : 30;
    cairo_save(cr.get());
    cairo_translate(cr.get(), x, y);
    tagged("Figure", [&] { draw_card(cr.get(), card); });
    // The cutting outline lies outside the card, so that a clean cut leaves none of it.
    cairo_set_source_rgb(cr.get(), 0.6, 0.6, 0.6);
    cairo_set_line_width(cr.get(), 0.1);
    cairo_rectangle(cr.get(), -0.05, -0.05, card.width_mm + 0.1, card.height_mm + 0.1);
    cairo_stroke(cr.get());
    cairo_restore(cr.get());
    cairo_set_source_rgb(cr.get(), 0, 0, 0);
    const std::string length = number_text(card.check_x2 - card.check_x1);
    tagged("P", [&] {
      draw_text(cr.get(), x, y + card.height_mm + 4.5, 2.6,
                "Print at 100 % (no fit to page). Measure the " + length + " mm length with a steel rule; tell the program when it differs. ", false);
      draw_text(cr.get(), x, y + card.height_mm + 8.5, 2.6, "Matt paper glued flat on a stiff board; cut along the outline.", false);
    });
    if (extension == ".pdf") cairo_tag_end(cr.get(), "Document");
    cairo_show_page(cr.get());
  }
  cairo_surface_finish(surface.get());
  if (cairo_surface_status(surface.get()) != CAIRO_STATUS_SUCCESS)
    throw Error(Fault::input, "drawing", "", "the page could not be drawn", "check that the DejaVu fonts are installed");
  if (extension == ".pdf")
    return pdf_finished(std::move(bytes), about,
                        {number_text(card.width_mm) + " x " + number_text(card.height_mm) + " mm: a board of squares and markers for the scale, with a check length of " +
                         number_text(card.check_x2 - card.check_x1) + " mm"});
  return bytes;
}

}  // namespace uroko::report

#include <cairo-pdf.h>
#include <cairo.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>

#include "report/paint_svg.h"
#include "report/pdf_finish.h"
#include "report/text.h"
#include "uroko/base/date.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"
#include "uroko/report/paint.h"

namespace uroko::report {
namespace {

struct SurfaceDeleter {
  void operator()(cairo_surface_t* s) const { cairo_surface_destroy(s); }
};
struct ContextDeleter {
  void operator()(cairo_t* c) const { cairo_destroy(c); }
};
using Surface = std::unique_ptr<cairo_surface_t, SurfaceDeleter>;
using Context = std::unique_ptr<cairo_t, ContextDeleter>;

cairo_status_t append(void* to, const unsigned char* bytes, unsigned n) {
  static_cast<std::string*>(to)->append(reinterpret_cast<const char*>(bytes), n);
  return CAIRO_STATUS_SUCCESS;
}

void check(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS) throw std::runtime_error(std::string("the drawing failed: ") + cairo_status_to_string(status));
}

void set_colour(cairo_t* cr, const Colour& c) { cairo_set_source_rgba(cr, c.r / 255.0, c.g / 255.0, c.b / 255.0, c.a / 255.0); }

void path(cairo_t* cr, const std::vector<Point>& points, bool closed) {
  cairo_new_path(cr);
  for (const auto& p : points) cairo_line_to(cr, p.x, p.y);
  if (closed) cairo_close_path(cr);
}

class Painter {
 public:
  /// `vector`: PDF, where photos go in as JPEG.
  Painter(cairo_t* cr, bool vector) : cr_(cr), vector_(vector) {}

  void operator()(const PolyLine& line) const {
    if (line.points.size() < 2) return;
    path(cr_, line.points, line.closed);
    set_colour(cr_, line.colour);
    cairo_set_line_width(cr_, line.width);
    cairo_set_line_join(cr_, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(cr_, line.dash == Dash::dotted ? CAIRO_LINE_CAP_ROUND : CAIRO_LINE_CAP_BUTT);
    const double dashed[] = {4 * std::max(1.0, line.width), 3 * std::max(1.0, line.width)}, dotted[] = {0.01, 2.6 * std::max(1.0, line.width)};
    if (line.dash == Dash::dashed) cairo_set_dash(cr_, dashed, 2, 0);
    if (line.dash == Dash::dotted) cairo_set_dash(cr_, dotted, 2, 0);
    cairo_stroke(cr_);
    cairo_set_dash(cr_, nullptr, 0, 0);
  }

  void operator()(const Fill& fill) const {
    if (fill.points.size() < 3) return;
    set_colour(cr_, fill.colour);
    if (fill.hatch == Hatch::none) {
      path(cr_, fill.points, true);
      cairo_set_fill_rule(cr_, CAIRO_FILL_RULE_EVEN_ODD);
      cairo_fill(cr_);
      return;
    }
    const auto strokes = hatch_strokes(fill);
    cairo_new_path(cr_);
    for (const auto& [a, b] : strokes.strokes) {
      cairo_move_to(cr_, a.x, a.y);
      cairo_line_to(cr_, b.x, b.y);
    }
    cairo_set_line_width(cr_, kHatchStrokeWidth);
    cairo_set_line_cap(cr_, CAIRO_LINE_CAP_BUTT);
    cairo_stroke(cr_);
    for (const auto& p : strokes.dots) {
      cairo_new_sub_path(cr_);
      cairo_arc(cr_, p.x, p.y, kHatchDotRadius, 0, 2 * std::numbers::pi);
    }
    cairo_fill(cr_);
  }

  void operator()(const Disc& disc) const {
    cairo_new_path(cr_);
    cairo_arc(cr_, disc.at.x, disc.at.y, disc.radius, 0, 2 * std::numbers::pi);
    set_colour(cr_, disc.fill);
    if (disc.fill.a) cairo_fill_preserve(cr_);
    set_colour(cr_, disc.edge);
    cairo_set_line_width(cr_, disc.edge_width);
    if (disc.edge.a && disc.edge_width > 0) cairo_stroke(cr_);
    cairo_new_path(cr_);
  }

  void operator()(const Label& label) const { draw(label, false); }

  /// `more`: another line of the same text follows, so that a reader needs a blank between the two.
  void draw(const Label& label, bool more) const {
    if (label.text.empty()) return;
    auto layout = line_layout(cr_, label.text, label.size, label.bold);
    PangoRectangle logical;
    pango_layout_get_extents(layout.get(), nullptr, &logical);
    const double width = static_cast<double>(logical.width) / PANGO_SCALE, x = static_cast<double>(logical.x) / PANGO_SCALE;
    const double baseline = static_cast<double>(pango_layout_get_baseline(layout.get())) / PANGO_SCALE;
    const double shift = label.anchor == Anchor::left ? 0 : label.anchor == Anchor::middle ? width / 2 : width;
    cairo_save(cr_);
    set_colour(cr_, label.colour);
    cairo_translate(cr_, label.at.x, label.at.y);
    if (label.turn_deg != 0) cairo_rotate(cr_, label.turn_deg * std::numbers::pi / 180);
    cairo_move_to(cr_, -shift - x, -baseline);
    if (more) layout = line_layout(cr_, label.text + " ", label.size, label.bold);  // placed by its width without the blank
    pango_cairo_show_layout(cr_, layout.get());
    cairo_restore(cr_);
  }

  void operator()(const Picture& picture) const {
    if (picture.bgr.empty() || picture.w <= 0 || picture.h <= 0) return;
    CV_Assert(picture.bgr.type() == CV_8UC3);
    const int w = picture.bgr.cols, h = picture.bgr.rows;
    Surface image(cairo_image_surface_create(CAIRO_FORMAT_RGB24, w, h));
    check(cairo_surface_status(image.get()));
    cairo_surface_flush(image.get());
    unsigned char* pixels = cairo_image_surface_get_data(image.get());
    const int stride = cairo_image_surface_get_stride(image.get());
    for (int y = 0; y < h; ++y) {
      const auto* from = picture.bgr.ptr<cv::Vec3b>(y);
      auto* to = reinterpret_cast<std::uint32_t*>(pixels + static_cast<std::ptrdiff_t>(y) * stride);
      for (int x = 0; x < w; ++x)
        to[x] = 0xff000000u | (static_cast<unsigned>(from[x][2]) << 16) | (static_cast<unsigned>(from[x][1]) << 8) | from[x][0];
    }
    cairo_surface_mark_dirty(image.get());
    if (vector_) {
      auto jpeg = std::make_unique<std::string>(photo::encode_jpeg(picture.bgr, 88));
      const auto* data = reinterpret_cast<const unsigned char*>(jpeg->data());
      const auto size = jpeg->size();
      check(cairo_surface_set_mime_data(
          image.get(), CAIRO_MIME_TYPE_JPEG, data, size, [](void* held) { delete static_cast<std::string*>(held); }, jpeg.get()));
      static_cast<void>(jpeg.release());  // the surface deletes it
    }
    cairo_save(cr_);
    cairo_rectangle(cr_, picture.at.x, picture.at.y, picture.w, picture.h);
    cairo_clip(cr_);
    cairo_translate(cr_, picture.at.x, picture.at.y);
    cairo_scale(cr_, picture.w / w, picture.h / h);
    cairo_set_source_surface(cr_, image.get(), 0, 0);
    cairo_pattern_set_filter(cairo_get_source(cr_), CAIRO_FILTER_GOOD);
    cairo_pattern_set_extend(cairo_get_source(cr_), CAIRO_EXTEND_PAD);
    cairo_paint(cr_);
    cairo_restore(cr_);
  }

 private:
  cairo_t* cr_;
  bool vector_;
};

// Opens and closes the scene's tags round its items. Figures' words are kept in drawing order, headings become the outline.
class Structure {
 public:
  explicit Structure(cairo_t* cr) : cr_(cr) {}

  void before(const Scene& scene, std::size_t item) {
    for (; next_ < scene.tags.size() && scene.tags[next_].first <= item; ++next_) {
      const Tag& tag = scene.tags[next_];
      if (tag.end <= item) continue;  // nothing in it
      cairo_tag_begin(cr_, tag.type.c_str(), nullptr);
      open_.push_back(&tag);
      if (tag.type == "Figure") figures.push_back(tag.alt);
    }
  }
  void after(std::size_t item) {
    for (; !open_.empty() && open_.back()->end <= item + 1; open_.pop_back()) cairo_tag_end(cr_, open_.back()->type.c_str());
  }
  void next_page() { next_ = 0; }
  /// The next item belongs to the same innermost tag as this one.
  bool goes_on(const Scene& scene, std::size_t item) const {
    return !open_.empty() && open_.back()->end > item + 1 && (next_ >= scene.tags.size() || scene.tags[next_].first > item + 1);
  }

  std::vector<std::string> figures;

 private:
  cairo_t* cr_;
  std::size_t next_ = 0;
  std::vector<const Tag*> open_;
};

// "H1" and "H2" of the page become two levels of the document's outline.
void add_outline(cairo_surface_t* surface, const Scene& page, int number, int& chapter) {
  for (const auto& tag : page.tags) {
    if (tag.type != "H1" && tag.type != "H2") continue;
    std::string text;
    std::optional<Point> at;
    for (std::size_t i = tag.first; i < tag.end; ++i)
      if (const auto* label = std::get_if<Label>(&page.items[i])) {
        text += (text.empty() ? "" : " ") + label->text;
        if (!at) at = Point{label->at.x, label->at.y - 1.5 * label->size};
      }
    if (!at) continue;
    const auto link = "page=" + std::to_string(number) + " pos=[" + fixed_text(at->x, 1) + " " + fixed_text(std::max(0.0, at->y), 1) + "]";
    const int id = cairo_pdf_surface_add_outline(surface, tag.type == "H2" ? chapter : CAIRO_PDF_OUTLINE_ROOT, printable(text).c_str(), link.c_str(), CAIRO_PDF_OUTLINE_FLAG_OPEN);
    if (tag.type == "H1") chapter = id;
  }
}

void paint_on(cairo_t* cr, const Scene& scene, bool vector, Structure* structure = nullptr) {
  cairo_font_options_t* options = cairo_font_options_create();
  cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
  cairo_set_font_options(cr, options);
  cairo_font_options_destroy(options);
  const Painter painter(cr, vector);
  for (std::size_t i = 0; i < scene.items.size(); ++i) {
    if (structure) structure->before(scene, i);
    const auto* label = std::get_if<Label>(&scene.items[i]);
    if (label && structure && structure->goes_on(scene, i) && std::holds_alternative<Label>(scene.items[i + 1]))
      painter.draw(*label, true);
    else
      std::visit(painter, scene.items[i]);
    if (structure) structure->after(i);
  }
  check(cairo_status(cr));
}

}  // namespace

std::string paint_pages(const std::vector<Scene>& pages, const About& about) {
  if (pages.empty()) throw std::invalid_argument("a document needs a page");
  std::string bytes;
  std::vector<std::string> figures;
  {
    Surface surface(cairo_pdf_surface_create_for_stream(append, &bytes, pages[0].width, pages[0].height));
    check(cairo_surface_status(surface.get()));
    cairo_pdf_surface_restrict_to_version(surface.get(), CAIRO_PDF_VERSION_1_5);
    const auto say = [&](cairo_pdf_metadata_t what, const std::string& text) {
      if (!text.empty()) cairo_pdf_surface_set_metadata(surface.get(), what, printable(text).c_str());
    };
    say(CAIRO_PDF_METADATA_TITLE, about.title);
    say(CAIRO_PDF_METADATA_SUBJECT, about.subject);
    say(CAIRO_PDF_METADATA_AUTHOR, about.author);
    say(CAIRO_PDF_METADATA_CREATOR, std::string("uroko ") + UROKO_VERSION);
    say(CAIRO_PDF_METADATA_CREATE_DATE, about.created.empty() ? DateTime::now().iso() : about.created);
    Context cr(cairo_create(surface.get()));
    const bool tagged = std::any_of(pages.begin(), pages.end(), [](const Scene& page) { return !page.tags.empty(); });
    Structure structure(cr.get());
    int number = 0, chapter = CAIRO_PDF_OUTLINE_ROOT;
    for (const auto& page : pages) {
      ++number;
      cairo_pdf_surface_set_size(surface.get(), page.width, page.height);
      // After the size is set: setting it drops what was recorded for the page, tags too.
      if (tagged && number == 1) cairo_tag_begin(cr.get(), "Document", nullptr);
      if (pages.size() > 1) add_outline(surface.get(), page, number, chapter);
      structure.next_page();
      paint_on(cr.get(), page, true, tagged ? &structure : nullptr);
      if (tagged && number == static_cast<int>(pages.size())) cairo_tag_end(cr.get(), "Document");
      cairo_show_page(cr.get());
    }
    figures = std::move(structure.figures);
    cr.reset();
    cairo_surface_finish(surface.get());
    check(cairo_surface_status(surface.get()));
  }
  return pdf_finished(std::move(bytes), about, figures);
}

std::string paint_png(const Scene& scene, double px_per_point) {
  const double w = std::ceil(scene.width * px_per_point - 1e-6), h = std::ceil(scene.height * px_per_point - 1e-6);
  if (!(w >= 1 && h >= 1 && w <= 20000 && h <= 20000)) throw std::invalid_argument("the picture's size is out of range");
  Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(w), static_cast<int>(h)));
  check(cairo_surface_status(surface.get()));
  Context cr(cairo_create(surface.get()));
  cairo_set_source_rgb(cr.get(), 1, 1, 1);
  cairo_paint(cr.get());
  cairo_scale(cr.get(), px_per_point, px_per_point);
  paint_on(cr.get(), scene, false);
  std::string bytes;
  check(cairo_surface_write_to_png_stream(surface.get(), append, &bytes));
  return bytes;
}

std::string paint(const Scene& scene, const std::string& extension, const About& about) {
  if (extension == ".pdf") return paint_pages({scene}, about);
  if (extension == ".png") return paint_png(scene, 2);
  if (extension == ".svg") return paint_svg(scene, about);
  throw Error(Fault::usage, "format", extension, "a drawing cannot be written in this format", "end the file's name in .svg, .png or .pdf");
}

}  // namespace uroko::report

#include "uroko/photo/exif.h"

#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "uroko/base/text.h"

namespace uroko::photo {

namespace {

constexpr std::array<const char*, 6> kDateSources = {"user", "exif", "exif-digitised", "file-name", "file-time", "none"};

// Tags of Exif 2.32 (CIPA DC-008-2019), section 4.6.
enum Tag : std::uint16_t {
  kMake = 0x010f,
  kModel = 0x0110,
  kOrientation = 0x0112,
  kExifDirectory = 0x8769,
  kGpsDirectory = 0x8825,
  kGpsLatitude = 0x0002,
  kGpsLongitude = 0x0004,
  kExifVersion = 0x9000,
  kDateTimeOriginal = 0x9003,
  kDateTimeDigitized = 0x9004,
  kOffsetTimeOriginal = 0x9011,
  kOffsetTimeDigitized = 0x9012,
  kFocalLength = 0x920a,
  kFocalLength35 = 0xa405,
  kLensModel = 0xa434,
};
enum Type : std::uint16_t { kByte = 1, kAscii = 2, kShort = 3, kLong = 4, kRational = 5, kUndefined = 7 };

std::size_t unit_size(std::uint16_t type) {
  constexpr std::array<std::size_t, 13> sizes = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8};
  return type < sizes.size() ? sizes[type] : 0;
}

/// Bounded look-ups in a TIFF structure; anything out of bounds reads as absent.
class Tiff {
 public:
  explicit Tiff(std::string_view bytes) : bytes_(bytes) {
    if (bytes.size() < 8) return;
    const auto mark = bytes.substr(0, 2);
    if (mark != "II" && mark != "MM") return;
    big_ = mark == "MM";
    if (u16(2) == 42) first_ = u32(4);
  }
  std::optional<std::size_t> first_directory() const { return first_; }

  struct Entry {
    std::uint16_t type = 0;
    std::string_view data;
  };
  std::optional<Entry> find(std::size_t directory, std::uint16_t tag) const {
    const auto count = u16(directory);
    if (!count) return std::nullopt;
    for (std::size_t i = 0; i < *count; ++i) {
      const std::size_t at = directory + 2 + 12 * i;
      const auto found = u16(at);
      if (!found) return std::nullopt;
      if (*found != tag) continue;
      const auto type = u16(at + 2);
      const auto units = u32(at + 4);
      if (!type || !units || unit_size(*type) == 0) return std::nullopt;
      const std::size_t size = unit_size(*type) * std::size_t{*units};
      std::size_t place = at + 8;
      if (size > 4) {
        const auto offset = u32(at + 8);
        if (!offset) return std::nullopt;
        place = *offset;
      }
      if (place > bytes_.size() || size > bytes_.size() - place) return std::nullopt;
      return Entry{*type, bytes_.substr(place, size)};
    }
    return std::nullopt;
  }
  std::string text(std::size_t directory, std::uint16_t tag, std::size_t longest = 200) const {
    const auto entry = find(directory, tag);
    if (!entry || entry->type != kAscii) return {};
    auto raw = entry->data.substr(0, entry->data.find('\0')).substr(0, longest);
    std::string clean;  // control characters would break lines of a report or a terminal
    for (const char c : raw) clean += static_cast<unsigned char>(c) < 32 || c == 127 ? ' ' : c;
    return trim(clean);
  }
  std::optional<std::uint32_t> integer(std::size_t directory, std::uint16_t tag) const {
    const auto entry = find(directory, tag);
    if (!entry) return std::nullopt;
    const std::size_t at = static_cast<std::size_t>(entry->data.data() - bytes_.data());
    if (entry->type == kShort && entry->data.size() >= 2) return u16(at);
    if (entry->type == kLong && entry->data.size() >= 4) return u32(at);
    return std::nullopt;
  }
  std::optional<double> rational(std::size_t directory, std::uint16_t tag) const {
    const auto entry = find(directory, tag);
    if (!entry || entry->type != kRational || entry->data.size() < 8) return std::nullopt;
    const std::size_t at = static_cast<std::size_t>(entry->data.data() - bytes_.data());
    const auto above = u32(at), below = u32(at + 4);
    if (!above || !below || *below == 0) return std::nullopt;
    return double(*above) / double(*below);
  }

 private:
  std::optional<std::uint16_t> u16(std::size_t at) const {
    if (bytes_.size() < 2 || at > bytes_.size() - 2) return std::nullopt;
    const auto a = static_cast<unsigned char>(bytes_[at]), b = static_cast<unsigned char>(bytes_[at + 1]);
    return static_cast<std::uint16_t>(big_ ? a << 8 | b : b << 8 | a);
  }
  std::optional<std::uint32_t> u32(std::size_t at) const {
    const auto a = u16(at), b = u16(at + 2);
    if (!a || !b) return std::nullopt;
    return big_ ? std::uint32_t{*a} << 16 | *b : std::uint32_t{*b} << 16 | *a;
  }
  std::string_view bytes_;
  bool big_ = false;
  std::optional<std::size_t> first_;
};

std::optional<DateTime> date_with_offset(const Tiff& tiff, std::size_t directory, Tag date, Tag offset) {
  const auto text = tiff.text(directory, date);
  const auto taken = DateTime::parse_exif(text);
  if (!taken) return std::nullopt;
  const auto zone = tiff.text(directory, offset);
  if (!zone.empty())
    if (const auto with = DateTime::parse(taken->iso_date() + "T00:00:00" + zone); with && with->utc_offset_min) {
      auto full = *taken;
      full.utc_offset_min = with->utc_offset_min;
      return full;
    }
  return taken;
}

/// Grows a TIFF directory: entries in tag order, values longer than four bytes behind it.
class Directory {
 public:
  void add(std::uint16_t tag, std::uint16_t type, std::uint32_t units, std::string data) { entries_.push_back({tag, type, units, std::move(data)}); }
  void text(std::uint16_t tag, const std::string& value) {
    if (!value.empty()) add(tag, kAscii, static_cast<std::uint32_t>(value.size() + 1), value + '\0');
  }
  void rational(std::uint16_t tag, double value) { add(tag, kRational, 1, le32(static_cast<std::uint32_t>(std::lround(value * 1000))) + le32(1000)); }
  std::size_t size() const {
    std::size_t total = 2 + 12 * entries_.size() + 4;
    for (const auto& e : entries_)
      if (e.data.size() > 4) total += e.data.size() + e.data.size() % 2;
    return total;
  }
  std::string at(std::size_t offset) const {
    std::string head = le16(static_cast<std::uint16_t>(entries_.size())), tail;
    std::size_t place = offset + 2 + 12 * entries_.size() + 4;
    for (const auto& e : entries_) {
      head += le16(e.tag) + le16(e.type) + le32(e.units);
      if (e.data.size() <= 4) {
        head += e.data + std::string(4 - e.data.size(), '\0');
      } else {
        head += le32(static_cast<std::uint32_t>(place + tail.size()));
        tail += e.data;
        if (e.data.size() % 2) tail += '\0';
      }
    }
    return head + le32(0) + tail;
  }
  static std::string le16(std::uint16_t v) { return {static_cast<char>(v & 255), static_cast<char>(v >> 8)}; }
  static std::string le32(std::uint32_t v) { return le16(static_cast<std::uint16_t>(v & 65535)) + le16(static_cast<std::uint16_t>(v >> 16)); }

 private:
  struct Entry {
    std::uint16_t tag, type;
    std::uint32_t units;
    std::string data;
  };
  std::vector<Entry> entries_;
};

std::string exif_date(const DateTime& t) {
  char text[64];
  std::snprintf(text, sizeof text, "%04d:%02d:%02d %02d:%02d:%02d", t.year, t.month, t.day, t.hour, t.minute, t.second);
  return text;
}

std::string exif_offset(int minutes) {
  char text[32];
  std::snprintf(text, sizeof text, "%c%02d:%02d", minutes < 0 ? '-' : '+', std::abs(minutes) / 60, std::abs(minutes) % 60);
  return text;
}

}  // namespace

const char* name(DateSource source) { return kDateSources[static_cast<std::size_t>(source)]; }

std::optional<DateSource> date_source_named(std::string_view name) {
  for (std::size_t i = 0; i < kDateSources.size(); ++i)
    if (name == kDateSources[i]) return static_cast<DateSource>(i);
  return std::nullopt;
}

ExifFields read_exif(std::string_view bytes) {
  ExifFields out;
  const Tiff tiff(bytes);
  const auto first = tiff.first_directory();
  if (!first) return out;
  out.make = tiff.text(*first, kMake);
  out.model = tiff.text(*first, kModel);
  if (const auto o = tiff.integer(*first, kOrientation); o && *o >= 1 && *o <= 8) out.orientation = static_cast<int>(*o);
  if (const auto exif = tiff.integer(*first, kExifDirectory)) {
    if ((out.taken = date_with_offset(tiff, *exif, kDateTimeOriginal, kOffsetTimeOriginal)))
      out.taken_from = DateSource::exif;
    else if ((out.taken = date_with_offset(tiff, *exif, kDateTimeDigitized, kOffsetTimeDigitized)))
      out.taken_from = DateSource::exif_digitised;
    out.lens_model = tiff.text(*exif, kLensModel);
    // Zero means "unknown" (Exif 2.32, 4.6.5); a metre of focal length is no camera for this job.
    if (const auto f = tiff.rational(*exif, kFocalLength); f && *f > 0 && *f < 1000) out.focal_mm = *f;
    if (const auto f = tiff.integer(*exif, kFocalLength35); f && *f > 0 && *f < 2000) out.focal35_mm = *f;
  }
  if (const auto gps = tiff.integer(*first, kGpsDirectory)) out.has_position = tiff.find(*gps, kGpsLatitude) || tiff.find(*gps, kGpsLongitude);
  return out;
}

std::string write_exif(const ExifFields& fields) {
  Directory main, exif;
  exif.add(kExifVersion, kUndefined, 4, "0232");
  if (fields.taken) {
    const bool digitised = fields.taken_from == DateSource::exif_digitised;
    exif.text(digitised ? kDateTimeDigitized : kDateTimeOriginal, exif_date(*fields.taken));
    if (fields.taken->utc_offset_min) exif.text(digitised ? kOffsetTimeDigitized : kOffsetTimeOriginal, exif_offset(*fields.taken->utc_offset_min));
  }
  if (fields.focal_mm) exif.rational(kFocalLength, *fields.focal_mm);
  if (fields.focal35_mm) exif.add(kFocalLength35, kShort, 1, Directory::le16(static_cast<std::uint16_t>(std::lround(*fields.focal35_mm))));
  exif.text(kLensModel, fields.lens_model);

  main.text(kMake, fields.make);
  main.text(kModel, fields.model);
  main.add(kOrientation, kShort, 1, Directory::le16(static_cast<std::uint16_t>(fields.orientation)));
  Directory with_pointer = main;
  with_pointer.add(kExifDirectory, kLong, 1, Directory::le32(0));
  const std::size_t exif_at = 8 + with_pointer.size();
  main.add(kExifDirectory, kLong, 1, Directory::le32(static_cast<std::uint32_t>(exif_at)));
  return std::string("II") + Directory::le16(42) + Directory::le32(8) + main.at(8) + exif.at(exif_at);
}

std::optional<DateTime> date_from_file_name(const std::filesystem::path& file) {
  const std::string stem = file.stem().string();
  const auto digit = [&](std::size_t i) { return i < stem.size() && stem[i] >= '0' && stem[i] <= '9'; };
  const auto take = [&](std::size_t& at, int count, int& value) {
    value = 0;
    for (int i = 0; i < count; ++i) {
      if (!digit(at + i)) return false;
      value = 10 * value + (stem[at + i] - '0');
    }
    at += count;
    return true;
  };
  const auto between = [&](std::size_t& at, std::string_view separators) {
    if (at < stem.size() && separators.find(stem[at]) != std::string_view::npos) return ++at, true;
    return false;
  };
  for (std::size_t start = 0; start + 8 <= stem.size(); ++start) {
    if (start > 0 && digit(start - 1)) continue;
    std::size_t at = start;
    DateTime t;
    if (!take(at, 4, t.year) || t.year < 1990 || t.year > 2099) continue;
    const bool spaced = between(at, "-_.");
    if (!take(at, 2, t.month)) continue;
    if (between(at, "-_.") != spaced || !take(at, 2, t.day)) continue;
    const auto date = DateTime::parse(t.iso_date());
    if (!date) continue;
    // A time must follow at once; a run of other digits behind the date means that it was none.
    std::size_t time = at;
    const bool apart = between(time, "-_. T");
    if (apart && stem.compare(time, 3, "at ") == 0) time += 3;
    DateTime full = *date;
    bool colons = false;
    if (take(time, 2, full.hour) && (colons = between(time, "-_.:"), take(time, 2, full.minute)) && between(time, "-_.:") == colons && take(time, 2, full.second)) {
      full.has_time = true;
      if (full.hour < 24 && full.minute < 60 && full.second < 60) return full;
    }
    if (digit(at)) continue;
    return date;
  }
  return std::nullopt;
}

}  // namespace uroko::photo

// How a photo comes into the book: staged in the book's own folder, proved sound, renamed to its hash, and only then named by a row.
#include <algorithm>

#include "casebook/inside.h"
#include "casebook/originals.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

namespace uroko::casebook {

namespace fs = std::filesystem;

namespace {

const char* extension_of(photo::Format format) {
  switch (format) {
    case photo::Format::jpeg: return ".jpg";
    case photo::Format::png: return ".png";
    case photo::Format::tiff: return ".tif";
    case photo::Format::webp: return ".webp";
    case photo::Format::heic: return ".heic";
  }
  return ".bin";
}

struct Staged {
  AddedPhoto added;
  photo::PhotoInfo info;
  fs::path file;
};

/// Where a photo with that hash stands among what is not in the trash.
struct Standing {
  Id photo = 0, visit = 0, fish = 0, wound = 0;
  std::string place;
  DateTime date;
  photo::DateSource from = photo::DateSource::none;
};
std::vector<Standing> standing(const Database& database, const std::string& sha256) {
  std::vector<Standing> out;
  database.each("SELECT p.id, v.id, f.id, w.id, f.name, w.name, v.date, v.date_from FROM photo p JOIN visit v ON v.id = p.visit JOIN wound w ON w.id = p.wound JOIN fish f ON f.id = w.fish "
                "WHERE p.sha256 = :sha AND p.trashed IS NULL AND v.trashed IS NULL AND w.trashed IS NULL AND f.trashed IS NULL ORDER BY p.id",
                "iiiitttt", {sha256}, [&](const Values& row) {
                  const auto id = [&](int k) { return static_cast<Id>(std::get<long long>(row[k])); };
                  const auto text = [&](int k) { return std::get<std::string>(row[k]); };
                  out.push_back({id(0), id(1), id(2), id(3), text(4) + ", " + text(5), DateTime::parse(text(6)).value_or(DateTime{}),
                                 photo::date_source_named(text(7)).value_or(photo::DateSource::none)});
                });
  return out;
}

/// Both come from a file that may have been tampered with: they must not lead out of the folder.
std::filesystem::path safe_path(const std::filesystem::path& folder, const std::string& sha256, const std::string& extension) {
  if (!is_sha256(sha256) || !is_extension(extension)) throw Error(Fault::book, "damaged", folder, "a photo's row names no proper file", "run uroko book check");
  return original_path(folder, sha256, extension);
}

}  // namespace

std::filesystem::path Book::photo_file(const std::string& sha256) const {
  const auto found = database().row("SELECT extension FROM photo WHERE sha256 = :sha ORDER BY id LIMIT 1", "t", {sha256});
  if (!found) throw Error(Fault::book, "no-such-photo", folder(), "the book has no photo " + sha256, "look at the list again");
  return safe_path(folder(), sha256, std::get<std::string>((*found)[0]));
}

std::unordered_map<std::string, std::filesystem::path> Book::photo_files() const {
  std::unordered_map<std::string, std::filesystem::path> out;
  database().each("SELECT sha256, extension FROM photo ORDER BY id", "tt", {}, [&](const Values& row) {
    const auto& sha = std::get<std::string>(row[0]);
    if (!out.count(sha)) out.emplace(sha, safe_path(folder(), sha, std::get<std::string>(row[1])));
  });
  return out;
}

std::vector<AddedPhoto> Book::add_photos(const NewPhotos& photos, const Token& token) {
  inside_->need_write();
  if (trim(photos.fish).empty() || trim(photos.wound).empty()) throw Error(Fault::usage, "value", {}, "photos need the name of a fish and of a wound", "give both");
  const auto originals = folder() / "originals";
  Staging staging(originals);
  std::vector<Staged> staged;
  for (const auto& file : photos.files) {
    if (token.cancelled()) return {};
    Staged one;
    one.added.file = file;
    try {
      const auto bytes = read_file(file, photo::LoadLimits{}.max_bytes);
      // Decoded once, strictly: what comes in can be opened for as long as the book lives.
      one.info = photo::load_bytes(bytes, file).info;
      one.added.sha256 = sha256_hex(bytes);
      if (photos.date) {
        one.added.date = *photos.date;
        one.added.date_from = photo::DateSource::user;
      } else if (one.info.taken) {
        one.added.date = *one.info.taken;
        one.added.date_from = one.info.taken_from;
      } else {
        throw Error(Fault::input, "no-date", file, "the photo does not say when it was taken", "give the date: --date");
      }
      one.file = staging.path() / std::to_string(staged.size());
      write_new_file(one.file, bytes, 0444);
    } catch (const Error& e) {
      if (e.fault() != Fault::input) throw;
      one.added.error = e;
    }
    staged.push_back(std::move(one));
    token.progress(static_cast<double>(staged.size()) / static_cast<double>(photos.files.size()));
  }

  const auto good = std::count_if(staged.begin(), staged.end(), [](const Staged& one) { return !one.added.error; });
  std::vector<AddedPhoto> out;
  if (good > 0)
    as_step(*this, "Add " + std::to_string(good) + (good == 1 ? " photo of " : " photos of ") + photos.fish + ", " + photos.wound, [&] {
      auto known_fish = fish_named(photos.fish);
      auto known_wound = known_fish ? wound_named(known_fish->id, photos.wound) : std::nullopt;
      for (auto& one : staged) {
        auto& added = one.added;
        if (added.error) continue;
        for (const auto& there : standing(database(), added.sha256)) {
          // The same photo may show another wound of the same fish; anything else is a repetition.
          if (known_fish && there.fish == known_fish->id && (!known_wound || there.wound != known_wound->id)) continue;
          added.already = true;
          added.already_at = there.place;
          added.photo = there.photo, added.visit = there.visit, added.date = there.date, added.date_from = there.from;
        }
        if (added.already) continue;
        if (!known_fish) known_fish = fish_or_new(photos.fish);
        if (!known_wound) known_wound = wound_or_new(known_fish->id, photos.wound);
        Visit visit;
        if (const auto same_day = visit_on(known_fish->id, added.date)) {
          visit = *same_day;
          if (photos.water_c && visit.water_c != photos.water_c) {
            visit.water_c = photos.water_c;
            update(visit);
          }
        } else {
          visit.fish = known_fish->id;
          visit.date = added.date;
          visit.date_from = added.date_from;
          visit.water_c = photos.water_c;
          add(visit);
        }
        added.visit = visit.id;
        PhotoRow row;
        row.visit = visit.id, row.wound = known_wound->id;
        row.sha256 = added.sha256;
        row.original_name = one.added.file.filename().string();
        row.extension = extension_of(one.info.format);
        // The first row of this photo decides the file's name, also when that row lies in the trash.
        if (const auto old = database().row("SELECT extension FROM photo WHERE sha256 = :sha ORDER BY id LIMIT 1", "t", {row.sha256})) row.extension = std::get<std::string>((*old)[0]);
        row.width_px = one.info.width_px, row.height_px = one.info.height_px;
        row.taken = one.info.taken, row.taken_from = one.info.taken_from;
        row.camera = trim(one.info.camera_make + " " + one.info.camera_model);
        row.bytes = static_cast<Id>(one.info.bytes);
        const auto target = original_path(folder(), row.sha256, row.extension);
        make_folder(target.parent_path());
        move_file(one.file, target);
        sync_folder(target.parent_path());
        added.photo = add(row);
      }
      if (photos.weight_g && known_fish) {
        for (const auto& one : staged)
          if (!one.added.error && !one.added.already) {
            add(Weight{0, known_fish->id, one.added.date, *photos.weight_g, "weighed", ""});
            break;
          }
      }
    });
  out.reserve(staged.size());
  for (auto& one : staged) out.push_back(std::move(one.added));
  return out;
}

}  // namespace uroko::casebook

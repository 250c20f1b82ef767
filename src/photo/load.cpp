#include <sys/stat.h>

#include <ctime>
#include <future>

#include "photo/worker_client.h"
#include "uroko/base/file.h"

namespace uroko::photo {

namespace {

namespace fs = std::filesystem;

std::optional<DateTime> file_time(const fs::path& file) {
  struct stat st {};
  if (::stat(file.c_str(), &st) != 0) return std::nullopt;
  std::tm local{};
  if (::localtime_r(&st.st_mtime, &local) == nullptr) return std::nullopt;
  DateTime t;
  t.year = local.tm_year + 1900;
  t.month = local.tm_mon + 1;
  t.day = local.tm_mday;
  t.has_time = true;
  t.hour = local.tm_hour;
  t.minute = local.tm_min;
  t.second = local.tm_sec;
  return t;
}

/// What the decoder cannot know: the file's name, size and hash, and a date of last resort.
void complete(PhotoInfo& info, const fs::path& file, std::size_t bytes, std::string sha256) {
  info.file = file;
  info.bytes = bytes;
  info.sha256 = std::move(sha256);
  if (info.taken) return;
  if ((info.taken = date_from_file_name(file))) {
    info.taken_from = DateSource::file_name;
  } else if ((info.taken = file_time(file))) {
    info.taken_from = DateSource::file_time;
  }
}

Loaded loaded_here(std::string_view bytes, const fs::path& file, const Job& job) {
  auto hash = std::async(std::launch::async, [&] { return sha256_hex(bytes); });
  auto out = decode_here(Source{bytes, file}, job);
  complete(out.info, file, bytes.size(), hash.get());
  return out;
}

Loaded loaded(const fs::path& file, const Job& job) {
  if (auto memory = worker_file(file, job.limits.max_bytes)) {
    std::string hash;
    if (auto out = ask_worker(*memory, file, job, hash)) {
      complete(out->info, file, memory->size(), std::move(hash));
      return std::move(*out);
    }
    return loaded_here({memory->data(), memory->size()}, file, job);
  }
  return loaded_here(read_file(file, job.limits.max_bytes), file, job);
}

}  // namespace

PhotoInfo probe(const fs::path& file, const LoadLimits& limits) { return loaded(file, {Job::Deed::probe, 0, limits}).info; }

Photo load_bytes(std::string_view bytes, const fs::path& file, const LoadLimits& limits) {
  const Job job{Job::Deed::whole, 0, limits};
  std::string hash;
  if (auto memory = worker_bytes(bytes)) {
    if (auto out = ask_worker(*memory, file, job, hash)) {
      complete(out->info, file, bytes.size(), std::move(hash));
      return {std::move(out->info), std::move(out->bgr)};
    }
  }
  auto out = loaded_here(bytes, file, job);
  return {std::move(out.info), std::move(out.bgr)};
}

Photo load(const fs::path& file, const LoadLimits& limits) {
  auto out = loaded(file, {Job::Deed::whole, 0, limits});
  return {std::move(out.info), std::move(out.bgr)};
}

Preview load_preview(const fs::path& file, int max_side_px, const LoadLimits& limits) {
  auto out = loaded(file, {Job::Deed::preview, max_side_px, limits});
  const double scale = double(std::max(out.bgr.cols, out.bgr.rows)) / std::max(out.info.width_px, out.info.height_px);
  return {std::move(out.info), std::move(out.bgr), scale};
}

}  // namespace uroko::photo

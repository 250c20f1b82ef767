#include "casebook/archive.h"

#include <archive.h>
#include <archive_entry.h>
#include <fcntl.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <set>

#include "casebook/files.h"
#include "casebook/originals.h"
#include "uroko/base/error.h"
#include "uroko/base/json.h"

namespace uroko::casebook {

namespace fs = std::filesystem;
using nlohmann::json;

namespace {

constexpr const char* kFormat = "uroko case book bundle";
constexpr std::size_t kManifestLimit = 64u << 20;
constexpr unsigned long long kFileLimit = 1ull << 36;  // 64 GiB

[[noreturn]] void hostile(const fs::path& bundle, const std::string& happened) {
  throw Error(Fault::input, "bundle", bundle, "is not a sound bundle: " + happened, "nothing was taken from it; get it again from where it was made");
}

[[noreturn]] void disk(const fs::path& file, int code, const std::string& step) {
  if (code == ENOSPC || code == EDQUOT || code == EFBIG) throw Error(Fault::book, "disk-full", file, "the disk is full (" + step + ")", "make room on the disk, then try again");
  throw Error(Fault::book, "io", file, "could not be written (" + step + ": " + std::strerror(code) + ")", "check the disk and the folder");
}

bool allowed(const std::string& path) {
  if (path == "book.sqlite") return true;
  // originals/ab/<64 hex>.ext
  if (path.rfind("originals/", 0) != 0 || path.size() < 13 + 64 + 2 || path[12] != '/') return false;
  const auto name = path.substr(13);
  return is_sha256(name.substr(0, 64)) && name.substr(0, 2) == path.substr(10, 2) && is_extension(name.substr(64));
}

class Hash {
 public:
  Hash() : context_(EVP_MD_CTX_new(), EVP_MD_CTX_free) { EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr); }
  void add(const void* bytes, std::size_t size) { EVP_DigestUpdate(context_.get(), bytes, size); }
  std::string hex() {
    unsigned char digest[32];
    unsigned size = 0;
    EVP_DigestFinal_ex(context_.get(), digest, &size);
    std::string out;
    for (const unsigned char byte : digest) out += {"0123456789abcdef"[byte >> 4], "0123456789abcdef"[byte & 15]};
    return out;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

struct Descriptor {
  int fd = -1;
  ~Descriptor() {
    if (fd >= 0) ::close(fd);
  }
};

using Writer = std::unique_ptr<archive, decltype(&archive_write_free)>;
using Reader = std::unique_ptr<archive, decltype(&archive_read_free)>;
using Entry = std::unique_ptr<archive_entry, decltype(&archive_entry_free)>;

}  // namespace

std::string Manifest::json() const {
  nlohmann::ordered_json out;
  out["format"] = kFormat;
  out["version"] = 1;
  out["made"] = made;
  out["program"] = program;
  out["step"] = step;
  out["files"] = json::array();
  for (const auto& file : files) out["files"].push_back({{"path", file.path}, {"bytes", file.bytes}, {"sha256", file.sha256}});
  return out.dump(1) + "\n";
}

Manifest Manifest::parse(const std::string& text, const fs::path& bundle) {
  const auto value = json::parse(text, nullptr, false);
  if (!value.is_object() || !value.contains("format") || value["format"] != kFormat) hostile(bundle, "its manifest is not one");
  Manifest out;
  try {
    if (whole_number(value.at("version"), 0, 1000) != 1) throw Error(Fault::input, "newer", bundle, "was written by a newer uroko", "update uroko to read it");
    out.made = value.at("made").get<std::string>();
    out.program = value.at("program").get<std::string>();
    out.step = whole_number(value.at("step"), 0, 1 << 20);
    std::set<std::string> seen;
    for (const auto& item : value.at("files")) {
      File file{item.at("path").get<std::string>(), item.at("sha256").get<std::string>(), whole_number<unsigned long long>(item.at("bytes"), 0, kFileLimit + 1ULL)};
      if (!allowed(file.path)) hostile(bundle, "its manifest names a path that no bundle holds");
      if (!is_sha256(file.sha256) || file.bytes > kFileLimit) hostile(bundle, "its manifest holds a hash or size that cannot be");
      if (file.path != "book.sqlite" && file.path.substr(13, 64) != file.sha256) hostile(bundle, "a photo's name is not its hash");
      if (!seen.insert(file.path).second) hostile(bundle, "its manifest names a file twice");
      out.files.push_back(std::move(file));
    }
    if (!seen.contains("book.sqlite")) hostile(bundle, "it holds no book.sqlite");
  } catch (const json::exception&) {
    hostile(bundle, "its manifest is not complete");
  }
  return out;
}

void write_archive(const Manifest& manifest, const fs::path& database, const fs::path& root, const fs::path& target, const Token& token) {
  Descriptor out{::open(target.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644)};
  if (out.fd < 0) disk(target, errno, "create");
  const Writer writer(archive_write_new(), archive_write_free);
  auto* zip = writer.get();
  const auto must = [&](int code) {
    if (code < ARCHIVE_WARN) disk(target, archive_errno(zip) ? archive_errno(zip) : EIO, "write");
  };
  must(archive_write_set_format_zip(zip));
  must(archive_write_set_options(zip, "zip:zip64"));
  must(archive_write_open_fd(zip, out.fd));
  const auto head = [&](const std::string& path, unsigned long long bytes, bool pack) {
    if (pack) archive_write_zip_set_compression_deflate(zip);
    else archive_write_zip_set_compression_store(zip);
    const Entry entry(archive_entry_new(), archive_entry_free);
    archive_entry_set_pathname(entry.get(), path.c_str());
    archive_entry_set_filetype(entry.get(), AE_IFREG);
    archive_entry_set_perm(entry.get(), 0644);
    archive_entry_set_size(entry.get(), static_cast<la_int64_t>(bytes));
    must(archive_write_header(zip, entry.get()));
  };
  const auto data = [&](const void* bytes, std::size_t size) {
    if (archive_write_data(zip, bytes, size) < 0) disk(target, archive_errno(zip) ? archive_errno(zip) : EIO, "write");
  };
  const auto text = manifest.json();
  head("manifest.json", text.size(), true);
  data(text.data(), text.size());
  std::vector<char> buffer(1 << 20);
  std::size_t done = 0;
  for (const auto& file : manifest.files) {
    if (token.cancelled()) throw Error(Fault::book, "cancelled", target, "was not written because the work was stopped", "");
    const auto source = file.path == "book.sqlite" ? database : root / file.path;
    Descriptor in{::open(source.c_str(), O_RDONLY | O_CLOEXEC)};
    if (in.fd < 0) throw Error(Fault::book, "photo-missing", source, "cannot be read", "run uroko book check; nothing was written");
    head(file.path, file.bytes, file.path == "book.sqlite");
    Hash hash;
    unsigned long long size = 0;
    for (;;) {
      const auto got = ::read(in.fd, buffer.data(), buffer.size());
      if (got < 0 && errno == EINTR) continue;
      if (got < 0) throw Error(Fault::book, "unreadable", source, std::string("cannot be read (") + std::strerror(errno) + ")", "check the disk");
      if (got == 0) break;
      size += static_cast<unsigned long long>(got);
      hash.add(buffer.data(), static_cast<std::size_t>(got));
      data(buffer.data(), static_cast<std::size_t>(got));
    }
    if (size != file.bytes || hash.hex() != file.sha256)
      throw Error(Fault::book, "photo-changed", source, "is not what was added to the book", "run uroko book check; nothing was written");
    token.progress(0.5 * static_cast<double>(++done) / static_cast<double>(manifest.files.size()));
  }
  must(archive_write_close(zip));
  if (::fsync(out.fd) != 0) disk(target, errno, "fsync");
  const int fd = out.fd;
  out.fd = -1;
  if (::close(fd) != 0) disk(target, errno, "close");
}

Manifest read_archive(const fs::path& bundle, const fs::path& into, const Token& token) {
  if (!fs::exists(bundle)) throw Error(Fault::input, "missing", bundle, "there is no such file", "check the name and the folder");
  const Reader reader(archive_read_new(), archive_read_free);
  auto* zip = reader.get();
  archive_read_support_format_zip(zip);
  if (archive_read_open_filename(zip, bundle.c_str(), 1 << 16) != ARCHIVE_OK) hostile(bundle, "it cannot be opened as a zip archive");
  archive_entry* entry = nullptr;
  std::optional<Manifest> manifest;
  std::map<std::string, const Manifest::File*> waiting;
  std::size_t done = 0;
  std::vector<char> buffer(1 << 16);
  for (;;) {
    const int code = archive_read_next_header(zip, &entry);
    if (code == ARCHIVE_EOF) break;
    if (code != ARCHIVE_OK) hostile(bundle, "the archive is damaged");
    if (token.cancelled()) throw Error(Fault::input, "cancelled", bundle, "was not read because the work was stopped", "");
    const char* name = archive_entry_pathname(entry);
    if (!name || archive_entry_filetype(entry) != AE_IFREG || archive_entry_hardlink(entry) || archive_entry_symlink(entry)) hostile(bundle, "it holds something that is not a plain file");
    if (archive_entry_is_encrypted(entry)) hostile(bundle, "it is encrypted");
    const std::string path = name;
    if (!manifest) {
      if (path != "manifest.json") hostile(bundle, "its first entry is not the manifest");
      std::string text;
      for (;;) {
        const auto got = archive_read_data(zip, buffer.data(), buffer.size());
        if (got < 0) hostile(bundle, "the archive is damaged");
        if (got == 0) break;
        text.append(buffer.data(), static_cast<std::size_t>(got));
        if (text.size() > kManifestLimit) hostile(bundle, "its manifest is too large");
      }
      manifest = Manifest::parse(text, bundle);
      unsigned long long total = 0;
      for (const auto& file : manifest->files) {
        waiting[file.path] = &file;
        total += file.bytes;
      }
      if (!into.empty()) {
        struct statvfs room {};
        if (::statvfs(into.c_str(), &room) == 0 && static_cast<unsigned long long>(room.f_bavail) * room.f_frsize < total) disk(into, ENOSPC, "the bundle needs " + std::to_string(total >> 20) + " MB");
      }
      continue;
    }
    const auto expected = waiting.find(path);
    if (expected == waiting.end()) hostile(bundle, "it holds a file that its manifest does not name, or one twice");
    const auto& file = *expected->second;
    waiting.erase(expected);
    Descriptor out;
    const auto target = into / path;
    if (!into.empty()) {
      if (path != "book.sqlite") {
        make_folder(into / "originals");
        make_folder(target.parent_path());
      }
      out.fd = ::open(target.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, path == "book.sqlite" ? 0644 : 0444);
      if (out.fd < 0) disk(target, errno, "create");
    }
    Hash hash;
    unsigned long long size = 0;
    for (;;) {
      const auto got = archive_read_data(zip, buffer.data(), buffer.size());
      if (got < 0) hostile(bundle, "the archive is damaged");
      if (got == 0) break;
      size += static_cast<unsigned long long>(got);
      if (size > file.bytes) hostile(bundle, "a file in it is larger than its manifest says");
      hash.add(buffer.data(), static_cast<std::size_t>(got));
      for (la_ssize_t at = 0; out.fd >= 0 && at < got;) {
        const auto put = ::write(out.fd, buffer.data() + at, static_cast<std::size_t>(got - at));
        if (put < 0 && errno == EINTR) continue;
        if (put < 0) disk(target, errno, "write");
        at += put;
      }
    }
    if (size != file.bytes || hash.hex() != file.sha256) hostile(bundle, "a file in it is not what its manifest says");
    if (out.fd >= 0 && ::fsync(out.fd) != 0) disk(target, errno, "fsync");
    token.progress(static_cast<double>(++done) / static_cast<double>(manifest->files.size()));
  }
  if (!manifest) hostile(bundle, "it is empty");
  if (!waiting.empty()) hostile(bundle, "files that its manifest names are not in it");
  if (!into.empty()) {
    if (fs::is_directory(into / "originals"))
      for (const auto& folder : fs::directory_iterator(into / "originals")) sync_folder(folder.path());
    sync_folder(into);
  }
  return *manifest;
}

}  // namespace uroko::casebook

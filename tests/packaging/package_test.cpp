// The package's files, checked by the programs that read them: desktop-file-validate, appstreamcli, xmllint, man, bash, lintian.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/base/shared.h"
#include "uroko/base/text.h"

using namespace uroko;
using namespace uroko::testing;
namespace fs = std::filesystem;

namespace {

const std::string kPackaging = std::string(UROKO_SOURCE) + "/assets/packaging/";
const fs::path kBuild = fs::path(UROKO_COMMAND).parent_path();

std::string xpath(const std::string& expression, const std::string& file) { return trim(run({"xmllint", "--nonet", "--xpath", expression, file}).out); }

// Bold as a terminal that overstrikes prints it: letter, backspace, letter.
std::string without_overstrikes(const std::string& text) {
  std::string out;
  for (char c : text)
    if (c != '\b')
      out += c;
    else if (!out.empty())
      out.pop_back();
  return out;
}

}  // namespace

TEST_CASE("the desktop entry, the AppStream data and the MIME type are valid and agree with each other") {
  const auto desktop = run({"desktop-file-validate", kPackaging + "uroko.desktop"});
  CHECK(desktop.exit_code == 0);
  CHECK(desktop.out + desktop.err == "");
  const std::string metainfo = kPackaging + "org.uroko.uroko.metainfo.xml", mime = kPackaging + "uroko-mime.xml";
  const auto appstream = run({"appstreamcli", "validate", "--no-net", "--pedantic", metainfo});
  INFO(appstream.out);
  CHECK(appstream.exit_code == 0);
  CHECK(run({"xmllint", "--noout", "--nonet", mime}).exit_code == 0);
  const auto type = xpath("string(//*[local-name()='mime-type']/@type)", mime);
  CHECK(type == xpath("string(//provides/mediatype)", metainfo));
  CHECK_THAT(read_file(kPackaging + "uroko.desktop"), Catch::Contains("MimeType=" + type + ";") && Catch::Contains("Exec=uroko open %f"));
  CHECK("uroko " + xpath("string(//release[1]/@version)", metainfo) == trim(testing::uroko({"--version"}).out));
  // The icon is drawn by a reader of SVG that is not ours, at the smallest size a desktop asks for.
  TempFolder folder;
  const auto icon = (folder / "icon.png").string();
  CHECK(run({"rsvg-convert", "-w", "16", kPackaging + "uroko.svg", "-o", icon}).exit_code == 0);
  CHECK(fs::file_size(icon) > 100);
}

TEST_CASE("the man page formats without a warning and names every verb, the completion knows them too") {
  TempFolder folder;
  const auto page = (folder / "uroko.1").string(), completion = (folder / "uroko.bash").string();
  write_file_whole(page, testing::uroko({"manual", "man"}).out);
  const auto plain = run({"man", "--warnings", "-E", "UTF-8", "-l", "-Tutf8", page}, "", {"MANWIDTH=80", "LC_ALL=C.UTF-8", "MAN_KEEP_FORMATTING="});
  CHECK(plain.err == "");
  CHECK(plain.exit_code == 0);
  const auto text = without_overstrikes(plain.out);
  const auto says = [&](const std::string& part) {
    INFO(part);
    CHECK(text.find(part) != std::string::npos);
  };
  for (const char* part : {"EXIT STATUS", "EXAMPLES", "CAUTIONS", "book report", "--outlines", "recommends no"}) says(part);
  write_file_whole(completion, testing::uroko({"manual", "bash"}).out);
  const auto complete = [&](const std::string& words, int at) {
    return trim(run({"bash", "-c", "source \"$1\"; COMP_WORDS=(" + words + "); COMP_CWORD=" + std::to_string(at) + "; _uroko; echo \"${COMPREPLY[*]}\"", "bash", completion}, folder.path().string()).out);
  };
  CHECK(complete("uroko mea", 1) == "measure");
  CHECK(complete("uroko book ex", 2) == "export extract");
  CHECK(complete("uroko book report b.uroko --pa", 4) == "--paper");
  const auto help = testing::uroko({"--help"}).out;
  for (const char* verb : {"measure", "card", "lens", "curve", "book", "open", "guide"}) {
    CHECK_THAT(help, Catch::Contains(verb));
    says("\n   " + std::string(verb) + "\n");
  }
}

TEST_CASE("the .deb is clean by Debian's own checker, and unpacked in any folder the program finds its guide and sample case") {
  TempFolder folder;
  const auto packed = run({"cpack", "-G", "DEB", "--config", (kBuild / "CPackConfig.cmake").string(), "-B", folder.path().string()});
  INFO(packed.out << packed.err);
  REQUIRE(packed.exit_code == 0);
  std::string deb;
  for (const auto& entry : fs::directory_iterator(folder.path()))
    if (entry.path().extension() == ".deb") deb = entry.path().string();
  REQUIRE_FALSE(deb.empty());
  const auto lintian = run({"lintian", "--fail-on", "error,warning", "--allow-root", deb});
  INFO(lintian.out);
  CHECK(lintian.exit_code == 0);
  CHECK(lintian.out == "");
  const auto control = run({"dpkg-deb", "-f", deb, "Depends"}).out;
  for (const char* needed : {"libopencv-core406", "libcairo2", "libsqlite3-0", "fonts-dejavu-core"}) CHECK_THAT(control, Catch::Contains(needed));
  CHECK(control.find("-dev") == std::string::npos);
  REQUIRE(run({"dpkg-deb", "-x", deb, (folder / "elsewhere").string()}).exit_code == 0);
  const auto prefix = folder / "elsewhere" / "usr";
  const auto program = (prefix / "bin" / "uroko").string();
  const auto pages = run({program, "guide"});
  REQUIRE(pages.exit_code == 0);
  CHECK(pages.out.rfind("keeping", 0) == 0);
  for (const auto& page : guide_pages()) {
    CHECK_FALSE(page.title.empty());
    CHECK_THAT(pages.out, Catch::Contains(page.name) && Catch::Contains(page.title));
    CHECK(run({program, "guide", page.name}).out == read_file(std::string(UROKO_SOURCE) + "/assets/guide/" + page.name + ".md"));
    // A picture that a page shows lies beside it.
    const auto text = read_file(page.file);
    for (std::size_t at = 0; (at = text.find("](", at)) != std::string::npos; ++at) {
      const auto target = text.substr(at + 2, text.find_first_of(")#", at) - at - 2);
      if (target.empty() || target.rfind("http", 0) == 0) continue;
      INFO(page.name << " points to " << target);
      CHECK(fs::exists(prefix / "share" / "uroko" / "guide" / target));
    }
  }
  CHECK(run({program, "guide", "nothing"}).exit_code == 2);
  const auto list = run({program, "book", "list", (prefix / "share" / "uroko" / "sample.uroko").string(), "--json"});
  REQUIRE(list.exit_code == 0);
  CHECK(nlohmann::json::parse(list.out)["fish"][0]["wounds"][0]["visits"].size() == 8);
  for (const char* file : {"share/applications/uroko.desktop", "share/mime/packages/uroko.xml", "share/metainfo/org.uroko.uroko.metainfo.xml", "share/icons/hicolor/scalable/apps/uroko.svg",
                           "share/man/man1/uroko.1.gz", "share/bash-completion/completions/uroko", "share/doc/uroko/copyright", "share/uroko/schema-json/case-book.schema.json", "share/uroko/sample-case"})
    CHECK(fs::is_regular_file(prefix / file));
}

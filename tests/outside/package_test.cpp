#include <catch2/catch.hpp>
#include <regex>

#include "support/command.h"
#include "support/temp_folder.h"

using namespace uroko::testing;

// Checked by the desktop's own tools where they are installed (desktop-file-utils, appstream, man-db): Freedesktop desktop entry, AppStream, shared MIME info.
namespace {
const std::string kPackaging = std::string(UROKO_SOURCE) + "/assets/packaging/";
bool there(const std::string& program) { return run({"sh", "-c", "command -v " + program}).exit_code == 0; }
}  // namespace

TEST_CASE("the desktop entry, the AppStream data, the MIME type and the icon are what the desktop's own validators accept") {
  for (const char* file : {"uroko-mime.xml", "org.uroko.uroko.metainfo.xml", "uroko.svg"}) CHECK(run({"xmllint", "--noout", "--nonet", kPackaging + file}).exit_code == 0);
  if (there("desktop-file-validate")) {
    const auto ran = run({"desktop-file-validate", kPackaging + "uroko.desktop"});
    INFO(ran.out << ran.err);
    CHECK(ran.exit_code == 0);
    CHECK(ran.out.empty());
  } else {
    WARN("desktop-file-validate is not installed: skipped");
  }
  if (there("appstreamcli")) {
    const auto ran = run({"appstreamcli", "validate", "--no-net", kPackaging + "org.uroko.uroko.metainfo.xml"});
    INFO(ran.out << ran.err);
    CHECK(ran.exit_code == 0);
  } else {
    WARN("appstreamcli is not installed: skipped");
  }
}

TEST_CASE("the man page and the completion hold every verb and option that --help shows") {
  TempFolder folder;
  const auto man = uroko::testing::uroko({"manual", "man"}), bash = uroko::testing::uroko({"manual", "bash"});
  CHECK(man.exit_code == 0);
  CHECK(bash.exit_code == 0);
  const auto help = uroko::testing::uroko({"--help"}).out;
  std::string plain = std::regex_replace(man.out, std::regex("\\\\-"), "-");
  const std::regex verb("\n  ([a-z]+)  ");
  int verbs = 0;
  for (std::sregex_iterator it(help.begin(), help.end(), verb), end; it != end; ++it, ++verbs) {
    const std::string name = (*it)[1];
    INFO(name);
    CHECK(plain.find(".SS " + name + "\n") != std::string::npos);
    CHECK(bash.out.find("\"" + name + "\")") != std::string::npos);
    const auto verb_help = uroko::testing::uroko({name, "--help"}).out;
    const std::regex option("--[a-z][a-z-]+");
    for (std::sregex_iterator o(verb_help.begin(), verb_help.end(), option); o != end; ++o) {
      INFO(o->str());
      CHECK(plain.find(o->str()) != std::string::npos);
    }
  }
  CHECK(verbs >= 4);
  CHECK(run({"bash", "-n", "-c", bash.out}).exit_code == 0);
  const auto completed = run({"bash", "-c", bash.out + "\nCOMP_WORDS=(uroko cur); COMP_CWORD=1; _uroko; echo \"${COMPREPLY[*]}\""}, folder.path().string());
  CHECK(completed.out == "curve\n");
  if (run({"sh", "-c", "command -v man"}).exit_code == 0) {
    const auto page = (folder / "uroko.1").string();
    std::FILE* out = std::fopen(page.c_str(), "w");
    REQUIRE(out);
    std::fputs(man.out.c_str(), out);
    std::fclose(out);
    const auto ran = run({"sh", "-c", "MANWIDTH=80 man --warnings -l " + page + " 2>&1 >/dev/null"});
    INFO(ran.out);
    CHECK(ran.out.empty());
  }
}

// The desktop's file dialog: the portal over a session bus of the test's own, dialog programs that the test writes, and what the session makes of an answer.
#include "uroko/app/file_dialog.h"

#include <signal.h>
#include <sys/stat.h>

#include <chrono>
#include <fstream>

#include "app/desktop.h"
#include "app/on_the_desk.h"
#include "uroko/base/text.h"

using namespace uroko;
using namespace uroko::app;
using namespace uroko::testing;
namespace fs = std::filesystem;
using Paths = std::vector<fs::path>;
using Purpose = PathForm::Purpose;

namespace {

bool no_bus() {
  const auto missing = Desktop::missing();
  if (!missing.empty()) WARN("skipped: " << missing);
  return !missing.empty();
}

double seconds_since(std::chrono::steady_clock::time_point start) { return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(); }

bool until(const std::function<bool()>& is_so, double seconds = 10) {
  const auto start = std::chrono::steady_clock::now();
  while (!is_so()) {
    if (seconds_since(start) > seconds) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  return true;
}

FileQuestion photos_from(const fs::path& folder) {
  FileQuestion q;
  q.title = "Add photos";
  q.many = true;
  q.start = folder;
  q.pattern_name = "Photos";
  q.patterns = {"*.jpg", "*.HEIC"};
  return q;
}

/// A dialog program of that name in `folder`; its arguments go to NAME.args, one a line.
void program(const fs::path& folder, const std::string& name, const std::string& does) {
  const auto file = folder / name;
  std::ofstream(file) << "#!/bin/sh\nprintf '%s\\n' \"$@\" > '" << file.string() << ".args'\n" << does << "\n";
  fs::permissions(file, fs::perms::owner_all);
}
std::vector<std::string> arguments_of(const fs::path& program) { return split(trim(read_file(program.string() + ".args")), '\n'); }
bool has(const std::vector<std::string>& list, const std::string& one) { return std::find(list.begin(), list.end(), one) != list.end(); }

Environment programs_in(const fs::path& folder) { return Environment({{"PATH", folder.string()}, {"DBUS_SESSION_BUS_ADDRESS", ""}}); }

}  // namespace

TEST_CASE("the desktop's dialog is asked for photos as the portal wants it, and what was chosen comes back as paths of this machine") {
  if (no_bus()) return;
  Desktop desktop(chosen({"file:///koi%20pond/a%C3%A9.jpg", "file://localhost/b.HEIC", "file:///50%25%2c%off.jpg", "https://example.org/c.jpg", "file://elsewhere/d.jpg", "file:///e%00.jpg", "file://"}));
  const auto answer = ask_files(photos_from("/koi pond"), Token());
  REQUIRE(answer);
  CHECK(*answer == Paths{"/koi pond/a\u00e9.jpg", "/b.HEIC", "/50%,%off.jpg"});
  const auto asked = desktop.asked();
  REQUIRE(asked.size() == 1);
  CHECK(asked[0].method == "OpenFile");
  CHECK(asked[0].title == "Add photos");
  CHECK(asked[0].flags == std::map<std::string, bool>{{"modal", true}, {"multiple", true}, {"directory", false}});
  CHECK(asked[0].texts.at("current_folder") == std::string("/koi pond") + '\0');
  CHECK(asked[0].filter == "Photos");
  CHECK(asked[0].patterns == std::vector<std::string>{"*.jpg", "*.HEIC"});
}

TEST_CASE("a file to be written is asked for with its suggested name, also where that is no UTF-8, and a folder without patterns") {
  if (no_bus()) return;
  Desktop desktop(chosen({"file:///out.pdf"}));
  FileQuestion q;
  q.title = "Write the report";
  q.save = true;
  q.start = "/reports/Botan left flank.pdf";
  CHECK(ask_files(q, Token()) == Paths{"/out.pdf"});
  q.start = "/reports/\xff.pdf";  // the bus carries UTF-8 only: the dialog comes without a name
  CHECK(ask_files(q, Token()) == Paths{"/out.pdf"});
  FileQuestion folder = photos_from("");
  folder.folder = true;
  CHECK(ask_files(folder, Token()) == Paths{"/out.pdf"});
  const auto asked = desktop.asked();
  REQUIRE(asked.size() == 3);
  CHECK(asked[0].method == "SaveFile");
  CHECK(asked[0].texts.at("current_name") == "Botan left flank.pdf");
  CHECK(asked[0].texts.at("current_folder") == std::string("/reports") + '\0');
  CHECK(asked[0].flags.count("multiple") == 0);
  CHECK(asked[1].texts.count("current_name") == 0);
  CHECK(asked[2].flags.at("directory"));
  CHECK(asked[2].patterns.empty());
  CHECK(asked[2].texts.count("current_folder") == 0);
}

TEST_CASE("a dialog that was closed without an answer gives none, and an answer that is not one does no harm") {
  if (no_bus()) return;
  const auto send = [](const std::function<void(DBusMessageIter&)>& fill) {
    return [fill](const Desktop::Call& call) {
      never()(call);
      auto* signal = dbus_message_new_signal(call.handle.c_str(), "org.freedesktop.portal.Request", "Response");
      DBusMessageIter it;
      dbus_message_iter_init_append(signal, &it);
      fill(it);
      dbus_connection_send(call.bus, signal, nullptr);
      dbus_connection_flush(call.bus);
      dbus_message_unref(signal);
    };
  };
  const char* text = "file:///a.jpg";
  const dbus_uint32_t zero = 0;
  const auto with_dict = [zero](int key_type, const void* key, const char* type, const std::function<void(DBusMessageIter&)>& value) {
    return [=](DBusMessageIter& it) {
      DBusMessageIter dict, entry, variant;
      dbus_message_iter_append_basic(&it, DBUS_TYPE_UINT32, &zero);
      dbus_message_iter_open_container(&it, DBUS_TYPE_ARRAY, key_type == DBUS_TYPE_STRING ? "{sv}" : "{uv}", &dict);
      dbus_message_iter_open_container(&dict, DBUS_TYPE_DICT_ENTRY, nullptr, &entry);
      dbus_message_iter_append_basic(&entry, key_type, key);
      dbus_message_iter_open_container(&entry, DBUS_TYPE_VARIANT, type, &variant);
      value(variant);
      dbus_message_iter_close_container(&entry, &variant);
      dbus_message_iter_close_container(&dict, &entry);
      dbus_message_iter_close_container(&it, &dict);
    };
  };
  const auto text_alone = [text](DBusMessageIter& v) { dbus_message_iter_append_basic(&v, DBUS_TYPE_STRING, &text); };
  const auto numbers = [zero](DBusMessageIter& v) {
    DBusMessageIter list;
    dbus_message_iter_open_container(&v, DBUS_TYPE_ARRAY, "u", &list);
    dbus_message_iter_append_basic(&list, DBUS_TYPE_UINT32, &zero);
    dbus_message_iter_close_container(&v, &list);
  };
  const char* uris = "uris";
  const std::map<std::string, Desktop::Play> answers = {
      {"cancelled", ended_with(1)},
      {"ended in another way", ended_with(2)},
      {"nothing in it", send([](DBusMessageIter&) {})},
      {"a text for a number", send([text](DBusMessageIter& it) { dbus_message_iter_append_basic(&it, DBUS_TYPE_STRING, &text); })},
      {"no results", send([zero](DBusMessageIter& it) { dbus_message_iter_append_basic(&it, DBUS_TYPE_UINT32, &zero); })},
      {"results that are a text", send([zero, text](DBusMessageIter& it) {
         dbus_message_iter_append_basic(&it, DBUS_TYPE_UINT32, &zero);
         dbus_message_iter_append_basic(&it, DBUS_TYPE_STRING, &text);
       })},
      {"keys that are numbers", send(with_dict(DBUS_TYPE_UINT32, &zero, "s", text_alone))},
      {"uris that are one text", send(with_dict(DBUS_TYPE_STRING, &uris, "s", text_alone))},
      {"uris that are numbers", send(with_dict(DBUS_TYPE_STRING, &uris, "au", numbers))},
  };
  for (const auto& [what, play] : answers) {
    INFO(what);
    Desktop desktop(play);
    const auto answer = ask_files(photos_from("/"), Token());
    REQUIRE(answer);
    CHECK(answer->empty());
  }
}

TEST_CASE("where the portal has no dialog, or leaves while it is open, the dialog program is asked, and without one the typed path stays") {
  if (no_bus()) return;
  SECTION("no file chooser") {
    Desktop desktop(refused());
    CHECK_FALSE(ask_files(photos_from("/"), Token()));
    TempFolder folder;
    program(folder.path(), "zenity", "echo /b.jpg");
    const Environment with({{"PATH", folder.path().string()}});
    CHECK(ask_files(photos_from("/"), Token()) == Paths{"/b.jpg"});
  }
  SECTION("it crashes under its dialog") {
    std::atomic<Desktop*> portal{nullptr};
    Desktop desktop([&](const Desktop::Call& call) {
      never()(call);
      portal.load()->leave();
    });
    portal = &desktop;
    const auto start = std::chrono::steady_clock::now();
    CHECK_FALSE(ask_files(photos_from("/"), Token()));
    CHECK(seconds_since(start) < 4);
  }
  SECTION("no bus at that address") {
    const Environment none(Environment::no_dialogs());
    CHECK_FALSE(ask_files(photos_from("/"), Token()));
  }
}

TEST_CASE("a question that is called off takes the desktop's dialog away at once") {
  if (no_bus()) return;
  Desktop desktop(never());
  const Token token;
  std::optional<Paths> answer;
  std::thread asking([&] { answer = ask_files(photos_from("/"), token); });
  const bool came = until([&] { return desktop.asked().size() == 1; });
  token.cancel();
  const auto start = std::chrono::steady_clock::now();
  asking.join();
  CHECK(came);
  CHECK(seconds_since(start) < 2);
  REQUIRE(answer);
  CHECK(answer->empty());
  CHECK(until([&] { return desktop.closed() == std::vector<std::string>{"/org/freedesktop/portal/desktop/request/test/1"}; }));
}

TEST_CASE("without a portal zenity is asked with its own words, then kdialog, and their refusals and failures are told apart") {
  TempFolder folder;
  const auto environment = programs_in(folder.path());
  const auto zenity = folder / "zenity", kdialog = folder / "kdialog";
  SECTION("zenity: photos") {
    program(folder.path(), "zenity", "echo '/pond/a b.jpg'; echo /c.jpg");
    CHECK(ask_files(photos_from("/pond"), Token()) == Paths{"/pond/a b.jpg", "/c.jpg"});
    const auto a = arguments_of(zenity);
    for (const char* one : {"--file-selection", "--title=Add photos", "--multiple", "--filename=/pond/", "--file-filter=Photos | *.jpg *.HEIC"}) CHECK(has(a, one));
    CHECK_FALSE(has(a, "--save"));
  }
  SECTION("zenity: a file to be written, a folder") {
    program(folder.path(), "zenity", "echo /x");
    FileQuestion q;
    q.save = true;
    q.start = "/r/out.pdf";
    CHECK(ask_files(q, Token()) == Paths{"/x"});
    for (const char* one : {"--save", "--confirm-overwrite", "--filename=/r/out.pdf"}) CHECK(has(arguments_of(zenity), one));
    q = photos_from("/r");
    q.folder = true;
    CHECK(ask_files(q, Token()) == Paths{"/x"});
    CHECK(has(arguments_of(zenity), "--directory"));
    CHECK(read_file(zenity.string() + ".args").find("--file-filter") == std::string::npos);
  }
  SECTION("zenity was closed: no other dialog comes") {
    program(folder.path(), "zenity", "exit 1");
    program(folder.path(), "kdialog", "echo /k.jpg");
    CHECK(ask_files(photos_from("/"), Token()) == Paths{});
  }
  SECTION("zenity cannot show itself: kdialog does") {
    for (const char* failure : {"exit 255", "kill -9 $$"}) {
      program(folder.path(), "zenity", failure);
      program(folder.path(), "kdialog", "echo /k.jpg");
      CHECK(ask_files(photos_from("/pond"), Token()) == Paths{"/k.jpg"});
      const auto a = arguments_of(kdialog);
      CHECK(a == std::vector<std::string>{"--title", "Add photos", "--multiple", "--separate-output", "--getopenfilename", "/pond/", "*.jpg *.HEIC"});
    }
  }
  SECTION("kdialog: a file to be written, a folder") {
    program(folder.path(), "kdialog", "echo /k");
    FileQuestion q;
    q.save = true;
    q.start = "/r/out.pdf";
    CHECK(ask_files(q, Token()) == Paths{"/k"});
    CHECK(has(arguments_of(kdialog), "--getsavefilename"));
    CHECK(has(arguments_of(kdialog), "/r/out.pdf"));
    q = FileQuestion{};
    q.folder = true;
    CHECK(ask_files(q, Token()) == Paths{"/k"});
    CHECK(has(arguments_of(kdialog), "--getexistingdirectory"));
    CHECK(has(arguments_of(kdialog), "."));
  }
  SECTION("neither can be run") {
    for (const auto& file : {zenity, kdialog}) {
      std::ofstream(file) << "#!/nonexistent/interpreter\n";
      fs::permissions(file, fs::perms::owner_all);
    }
    CHECK_FALSE(ask_files(photos_from("/"), Token()));
  }
}

TEST_CASE("a dialog program that nobody waits for any more is ended") {
  TempFolder folder;
  program(folder.path(), "zenity", "echo $$ > '" + (folder / "pid").string() + ".part'\n/bin/mv '" + (folder / "pid").string() + ".part' '" + (folder / "pid").string() + "'\nexec /bin/sleep 60");
  const auto environment = programs_in(folder.path());
  const Token token;
  std::optional<Paths> answer;
  std::thread asking([&] { answer = ask_files(photos_from("/"), token); });
  const bool came = until([&] { return fs::exists(folder / "pid"); });
  token.cancel();
  const auto start = std::chrono::steady_clock::now();
  asking.join();
  REQUIRE(came);
  CHECK(seconds_since(start) < 2);
  CHECK(answer == Paths{});
  CHECK(::kill(std::stoi(read_file(folder / "pid")), 0) == -1);
}

TEST_CASE("photos chosen in the desktop's dialog wait for their fish, and the next dialog opens where they lay") {
  if (no_bus()) return;
  OnTheDesk c;
  fs::create_directory(c.folder / "camera");
  const auto photo = c.folder / "camera" / "new one.png";
  fs::copy_file(c.folder / "a.png", photo);
  Desktop desktop(chosen({"file://" + (c.folder / "camera").string() + "/new%20one.png"}));
  Session s(c.places);
  s.ask_path(Purpose::photos);
  REQUIRE(s.path_form);
  CHECK(s.path_form->asking);
  REQUIRE(s.settle());
  CHECK_FALSE(s.path_form);
  REQUIRE(s.import_form);
  REQUIRE(s.import_form->items.size() == 1);
  CHECK(s.import_form->items[0].file == photo);
  CHECK(s.import_form->items[0].trouble.empty());
  REQUIRE(s.desk);
  CHECK(s.desk->file == photo);
  s.ask_path(Purpose::photos);
  REQUIRE(s.settle());
  CHECK(s.import_form->items.size() == 1);  // the same photo once more is not a second one
  CHECK(desktop.asked().at(1).texts.at("current_folder") == (c.folder / "camera").string() + '\0');
}

TEST_CASE("every question of the window through the desktop's dialog does what was asked") {
  if (no_bus()) return;
  OnTheDesk c;
  const auto home = c.folder / "home";
  fs::create_directory(home);
  const Environment at_home({{"HOME", home.string()}, {"XDG_DATA_HOME", (home / "data").string()}, {"XDG_CONFIG_HOME", (home / "config").string()}});
  const auto uri = [](const fs::path& p) { return "file://" + p.string(); };
  SECTION("a case book is opened") {
    Desktop open(chosen({uri(c.koi)}));
    Session s(c.places);
    s.ask_path(Purpose::open_book);
    REQUIRE(s.settle());
    CHECK(s.book.path == c.koi);
    CHECK_FALSE(s.path_form);
    CHECK(open.asked().at(0).flags.at("directory"));
    CHECK(open.asked().at(0).texts.at("current_folder") == home.string() + '\0');
  }
  SECTION("a new case book is made") {
    Desktop make(chosen({uri(home / "Pond 2")}));
    Session s(c.places);
    s.ask_path(Purpose::new_book);
    CHECK(s.path_form->text == (home / "Koi.uroko").string());
    REQUIRE(s.settle());
    CHECK(s.book.path == home / "Pond 2.uroko");
    CHECK(casebook::Book::is_book(home / "Pond 2.uroko"));
    CHECK(make.asked().at(0).texts.at("current_name") == "Koi.uroko");
  }
  SECTION("the report's suggested name is a file's, whatever the fish is called") {
    {
      auto book = casebook::Book::open(c.koi);
      auto fish = book.fish().at(0);
      fish.name = "3/24";
      book.update(fish);
    }
    Desktop desktop(chosen({uri(home / "out.pdf")}));
    Session s(c.places);
    open_and_trace(s, c.koi);
    s.accept();
    s.ask_path(Purpose::report);
    CHECK(s.path_form->text == (home / "3-24 left flank.pdf").string());
    REQUIRE(s.settle());
    CHECK(desktop.asked().at(0).texts.at("current_name") == "3-24 left flank.pdf");
    CHECK(desktop.asked().at(0).texts.at("current_folder") == home.string() + '\0');
    CHECK(read_file(home / "out.pdf").substr(0, 5) == "%PDF-");
    REQUIRE_FALSE(s.notices.empty());
    CHECK(s.notices.back().text == "The report is in " + (home / "out.pdf").string() + ".");
  }
  SECTION("the card, as PDF or as SVG") {
    for (const auto& [name, head] : {std::pair{"card.pdf", "%PDF-"}, std::pair{"card.SVG", "<?xml"}}) {
      Desktop desktop(chosen({uri(home / name)}));
      Session s(c.places);
      s.ask_path(Purpose::card);
      REQUIRE(s.settle());
      CHECK(read_file(home / name).substr(0, 5) == head);
      CHECK(s.notices.back().advice.find("100 %") != std::string::npos);
    }
  }
  SECTION("a folder to watch") {
    fs::create_directory(home / "camera");
    Desktop desktop(chosen({uri(home / "camera")}));
    Session s(c.places);
    s.ask_path(Purpose::watch);
    REQUIRE(s.settle());
    CHECK_FALSE(s.path_form);
    CHECK(s.settings.watched_folder == home / "camera");
    CHECK(load_settings(c.places.settings).watched_folder == home / "camera");
  }
  SECTION("a lens profile that is none leaves the scale as it is and says why") {
    std::ofstream(home / "lens.json") << "{}";
    Desktop desktop(chosen({uri(home / "lens.json")}));
    Session s(c.places);
    open_and_trace(s, c.koi);
    const auto map = s.desk->history.now().map;
    s.ask_path(Purpose::lens);
    REQUIRE(s.settle());
    CHECK(desktop.asked().at(0).patterns == std::vector<std::string>{"*.json"});
    CHECK(s.desk->history.now().map == map);
    REQUIRE_FALSE(s.notices.empty());
    CHECK(s.notices.back().text.find("lens.json") != std::string::npos);
  }
}

TEST_CASE("the desktop's dialog closed without a choice closes the form and changes nothing") {
  if (no_bus()) return;
  OnTheDesk c;
  Desktop desktop(ended_with(1));
  Session s(c.places);
  s.open_book(c.koi);
  REQUIRE(s.settle());
  for (const auto purpose : {Purpose::photos, Purpose::open_book, Purpose::new_book, Purpose::report, Purpose::card, Purpose::watch}) {
    s.ask_path(purpose);
    REQUIRE(s.settle());
    CHECK_FALSE(s.path_form);
  }
  CHECK(s.book.path == c.koi);
  CHECK_FALSE(s.import_form);
  CHECK(s.notices.empty());
  CHECK(s.settings.watched_folder.empty());
}

TEST_CASE("while the desktop's dialogs are open photos are read, the form can be left, a late answer reaches no other form, and quitting does not wait") {
  if (no_bus()) return;
  OnTheDesk c(2);
  Desktop desktop(never());
  const auto start = std::chrono::steady_clock::now();
  {
    Session s(c.places);
    for (int i = 0; i < 4; ++i) {  // the key pressed again and again
      s.ask_path(Purpose::photos);
      REQUIRE(frames_until(s, [&] { return desktop.asked().size() == static_cast<std::size_t>(i) + 1; }));
    }
    CHECK(frames_until(s, [&] { return desktop.closed().size() == 3; }));  // one dialog, the last
    s.open_book(c.koi);
    REQUIRE(frames_until(s, [&] { return s.desk && s.desk->loaded_whole(); }));
    s.ask_path(Purpose::photos);
    REQUIRE(s.path_form);
    CHECK(s.path_form->asking);
    const auto running = s.running();
    CHECK(std::any_of(running.begin(), running.end(), [](const auto& job) { return job.label == "Asking for a file"; }));
    SECTION("left") {
      s.escape();
      CHECK_FALSE(s.path_form);
      CHECK(frames_until(s, [&] { return desktop.closed().size() == desktop.asked().size(); }));
    }
    SECTION("stopped: the path may be typed all the same") {
      s.cancel_jobs();
      REQUIRE(s.path_form);
      CHECK_FALSE(s.path_form->asking);
      CHECK(frames_until(s, [&] { return desktop.closed().size() == desktop.asked().size(); }));
      s.path_chosen(c.folder / "nowhere.jpg");
      REQUIRE(s.path_form);
      CHECK(s.path_form->fault.text == (c.folder / "nowhere.jpg").string() + " is not there. Check the spelling.");
    }
    SECTION("typed beside it") {
      s.path_chosen(c.folder / "a.png");
      REQUIRE(s.import_form);
      CHECK(frames_until(s, [&] { return desktop.closed().size() == desktop.asked().size(); }));
      CHECK(s.import_form->items.size() == 1);
    }
    SECTION("open at the end") {}
  }
  CHECK(seconds_since(start) < 60);  // a dialog's own patience has no end
}

#include "report/pdf_finish.h"

#include <fmt/format.h>
#include <glib.h>

#include <algorithm>
#include <memory>
#include <stdexcept>

#include "report/text.h"
#include "uroko/base/date.h"

namespace uroko::report {
namespace {

// A text string of ISO 32000-1, 7.9.2.2: UTF-16BE with its mark, in hexadecimal.
std::string text_string(const std::string& utf8) {
  const std::string clean = printable(utf8);
  glong units = 0;
  const std::unique_ptr<gunichar2, decltype(&g_free)> utf16(g_utf8_to_utf16(clean.c_str(), static_cast<glong>(clean.size()), nullptr, &units, nullptr), &g_free);
  std::string out = "<FEFF";
  for (glong i = 0; utf16 && i < units; ++i) out += fmt::format("{:04X}", utf16.get()[i]);
  return out + ">";
}

std::string xml(const std::string& utf8) {
  std::string out;
  for (char c : printable(utf8)) out += c == '&' ? "&amp;" : c == '<' ? "&lt;" : c == '>' ? "&gt;" : std::string(1, c);
  for (const char* bad : {"\xef\xbf\xbe", "\xef\xbf\xbf"})  // U+FFFE, U+FFFF are no XML characters
    for (std::size_t at; (at = out.find(bad)) != std::string::npos;) out.replace(at, 3, "\xef\xbf\xbd");
  return out;
}

// ISO 16684-1 (XMP): what the information dictionary says too.
std::string xmp(const About& about) {
  const std::string created = about.created.empty() ? DateTime::now().iso() : about.created, program = std::string("uroko ") + UROKO_VERSION;
  std::string out =
      "<?xpacket begin=\"\xef\xbb\xbf\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n"
      "<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n<rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" "
      "xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\">\n<dc:format>application/pdf</dc:format>\n<dc:language><rdf:Bag><rdf:li>en</rdf:li></rdf:Bag></dc:language>\n";
  const auto alternative = [&](const char* name, const std::string& text) {
    if (!text.empty()) out += fmt::format("<dc:{0}><rdf:Alt><rdf:li xml:lang=\"x-default\">{1}</rdf:li></rdf:Alt></dc:{0}>\n", name, xml(text));
  };
  alternative("title", about.title);
  alternative("description", about.subject);
  if (!about.author.empty()) out += "<dc:creator><rdf:Seq><rdf:li>" + xml(about.author) + "</rdf:li></rdf:Seq></dc:creator>\n";
  out += "<xmp:CreatorTool>" + program + "</xmp:CreatorTool>\n<xmp:CreateDate>" + xml(created) + "</xmp:CreateDate>\n</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"r\"?>";
  return out;
}

[[noreturn]] void unlike() { throw std::logic_error("the PDF is not as Cairo writes it"); }

// The number after `key`, searched from `from`.
long number_after(const std::string& pdf, const std::string& key, std::size_t from) {
  const auto at = pdf.find(key, from);
  if (at == std::string::npos) unlike();
  return std::strtol(pdf.c_str() + at + key.size(), nullptr, 10);
}

// Where "ID 0 obj << ... >>" begins, and its text.
std::pair<std::size_t, std::string> object_text(const std::string& pdf, long id) {
  const auto at = pdf.find(fmt::format("\n{} 0 obj\n", id));
  if (at == std::string::npos) unlike();
  const auto end = pdf.find("\nendobj", at);
  if (end == std::string::npos) unlike();
  return {at + 1, pdf.substr(at + 1, end - at - 1)};
}

// Puts entries before the dictionary's last ">>".
std::string with_entries(const std::string& object, const std::string& entries) {
  const auto close = object.rfind(">>");
  if (close == std::string::npos) unlike();
  return object.substr(0, close) + entries + object.substr(close);
}

}  // namespace

std::string pdf_finished(std::string pdf, const About& about, const std::vector<std::string>& figures) {
  const auto trailer = pdf.rfind("\ntrailer");
  const auto start = pdf.rfind("\nstartxref");
  if (trailer == std::string::npos || start == std::string::npos) unlike();
  const long size = number_after(pdf, "/Size ", trailer), root = number_after(pdf, "/Root ", trailer), info = number_after(pdf, "/Info ", trailer);
  const long previous = number_after(pdf, "startxref\n", start);

  std::vector<std::pair<long, std::string>> objects;  // id, whole text
  objects.emplace_back(root, with_entries(object_text(pdf, root).second, fmt::format("   /Lang (en)\n   /ViewerPreferences << /DisplayDocTitle true >>\n   /Metadata {} 0 R\n", size)));
  // Structure elements stand outside streams and uncompressed; photos' bytes are skipped by asking for the whole head of one.
  std::size_t at = 0;
  static const std::string head = " 0 obj\n<< /Type /StructElem\n   /S /Figure\n";
  for (const auto& words : figures) {
    at = pdf.find(head, at);
    if (at == std::string::npos) unlike();
    const auto line = pdf.rfind('\n', at);
    const long id = std::strtol(pdf.c_str() + line + 1, nullptr, 10);
    if (!words.empty()) objects.emplace_back(id, with_entries(object_text(pdf, id).second, "   /Alt " + text_string(words) + "\n"));
    at += head.size();
  }
  const std::string packet = xmp(about);
  objects.emplace_back(size, fmt::format("{} 0 obj\n<< /Type /Metadata /Subtype /XML /Length {} >>\nstream\n{}\nendstream", size, packet.size(), packet));
  std::sort(objects.begin(), objects.end());

  if (pdf.back() != '\n') pdf += '\n';
  std::string table = "xref\n";
  for (const auto& [id, text] : objects) {
    table += fmt::format("{} 1\n{:010} 00000 n \n", id, pdf.size());
    pdf += text + "\nendobj\n";
  }
  const auto where = pdf.size();
  return pdf + table + fmt::format("trailer\n<< /Size {} /Root {} 0 R /Info {} 0 R /Prev {} >>\nstartxref\n{}\n%%EOF\n", size + 1, root, info, previous, where);
}

}  // namespace uroko::report

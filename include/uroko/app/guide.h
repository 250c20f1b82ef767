#pragma once
#include <string>
#include <vector>

#include "uroko/base/shared.h"

namespace uroko::app {

/// A piece of a guide page as the window shows it: plain words, the marks of Markdown taken off.
struct GuideBlock {
  enum class Kind { title, heading, paragraph, item, code, row } kind = Kind::paragraph;
  std::string text;
  bool operator==(const GuideBlock&) const = default;
};

/// What the guide's pages use of Markdown: headings, paragraphs, lists, fenced and indented code, tables (a row a block, cells joined), emphasis, links, pictures
/// (their words in brackets).
std::vector<GuideBlock> guide_blocks(const std::string& markdown);

/// The guide as the window shows it.
struct GuideView {
  bool open = false;
  std::vector<GuidePage> pages;
  int page = 0;
  std::vector<GuideBlock> blocks;  ///< of that page
};

}  // namespace uroko::app

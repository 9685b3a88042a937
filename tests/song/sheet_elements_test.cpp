// Whatever a title holds, the page is XML.
#include "daemon/song/sheet_elements.h"

#include <gtest/gtest.h>

#include <sstream>

namespace undersong::song {
namespace {

TEST(SheetElements, WhatNoXmlMayHoldIsLeftOut) {
  pugi::xml_document document;
  auto root = add(document, "work");
  add(root, "work-title",
      std::string("Ni\xEF\xBF\xBEght \xEF\xBF\xBF"
                  "\x01song \xEF\xBF\xBD\u266A"));
  set(root, "id",
      "a\x1b"
      "b");
  EXPECT_STREQ(root.child("work-title").text().get(), "Night song \xEF\xBF\xBD\u266A");
  EXPECT_STREQ(root.attribute("id").value(), "ab");
  std::ostringstream out;
  document.save(out);
  EXPECT_EQ(out.str().find("&#"), std::string::npos) << out.str();
}

}  // namespace
}  // namespace undersong::song

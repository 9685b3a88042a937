// Addresses of the page that can be typed.
#include "clients/terminal/page_address.h"

#include <gtest/gtest.h>

namespace undersong::terminal {
namespace {

TEST(PageAddress, AnAddressThatStandsForAllOfThemIsReplacedByOneThatCanBeTyped) {
  EXPECT_EQ(page_here("http://0.0.0.0:8344/"), "http://127.0.0.1:8344/");
  EXPECT_EQ(page_here("https://[::]:8344/"), "https://[::1]:8344/");
  EXPECT_EQ(page_here("http://192.168.1.20:8344/"), "http://192.168.1.20:8344/");
  for (const auto& page : pages_elsewhere("http://0.0.0.0:8344/")) {
    EXPECT_TRUE(page.starts_with("http://") && page.ends_with(":8344/")) << page;
    EXPECT_EQ(page.find("0.0.0.0"), std::string::npos);
    EXPECT_EQ(page.find("127.0.0.1"), std::string::npos);
  }
}

TEST(PageAddress, APageOfThisMachineAloneHasNoAddressElsewhere) {
  for (const char* page : {"http://127.0.0.1:8344/", "http://localhost:8344/", "http://[::1]:8344/"})
    EXPECT_TRUE(pages_elsewhere(page).empty()) << page;
  EXPECT_EQ(pages_elsewhere("http://192.168.1.20:8344/"),
            (std::vector<std::string>{"http://192.168.1.20:8344/"}));
}

}  // namespace
}  // namespace undersong::terminal

// Lead sheets are valid MusicXML 4.0, by the published schema, which lies beside the project where it is kept; without it, or
// without xmllint, this is skipped and says so.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "daemon/midi/smf.h"
#include "daemon/song/hand_over.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

TEST(Schema, TheDemosLeadSheetIsValidMusicXml) {
  const fs::path schema = fs::path(UNDERSONG_SOURCE_DIR) / "../shared/standards/musicxml-4.0";
  if (!fs::exists(schema / "musicxml.xsd")) GTEST_SKIP() << "no MusicXML schema in " << schema.lexically_normal();
  if (std::system("command -v xmllint >/dev/null 2>&1") != 0) GTEST_SKIP() << "xmllint is not installed";
  const auto demo = midi::read_smf_file(fs::path(UNDERSONG_SOURCE_DIR) / "configs/demo.mid");
  ASSERT_TRUE(demo.has_value());
  HandOverOptions options;
  options.title = "Rain & <sun>\x01";
  const auto folder = hand_over(midi::merged_events(*demo), options);
  ASSERT_TRUE(folder.has_value());
  const fs::path out = fs::temp_directory_path() / ("undersong-schema-" + std::to_string(::getpid()));
  ASSERT_TRUE(write_folder(*folder, out, true).has_value());
  const std::string command = "cd '" + schema.string() + "' && XML_CATALOG_FILES=catalog.xml xmllint --nonet --noout --schema musicxml.xsd '" +
                              (out / "lead_sheet.musicxml").string() + "' 2>'" + (out / "said").string() + "'";
  const int exit_code = std::system(command.c_str());
  std::ifstream said(out / "said");
  EXPECT_EQ(exit_code, 0) << said.rdbuf();
  fs::remove_all(out);
}

}  // namespace
}  // namespace undersong::song

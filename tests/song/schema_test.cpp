// Lead sheets are valid MusicXML 4.0 according to the published schema. If the schema or xmllint is not
// available, the test is skipped and says so.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>

#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/sketch.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

const fs::path kSchema = fs::path(UNDERSONG_SOURCE_DIR) / "../shared/standards/musicxml-4.0";

std::string lacking() {
  if (!fs::exists(kSchema / "musicxml.xsd"))
    return "no MusicXML schema in " + kSchema.lexically_normal().string();
  if (std::system("command -v xmllint >/dev/null 2>&1") != 0) return "xmllint is not installed";
  return "";
}

void expect_valid(const Folder& folder) {
  const fs::path out = fs::temp_directory_path() / ("undersong-schema-" + std::to_string(::getpid()));
  ASSERT_TRUE(write_folder(folder, out, true).has_value());
  const std::string command =
      "cd '" + kSchema.string() +
      "' && XML_CATALOG_FILES=catalog.xml xmllint --nonet --noout --schema musicxml.xsd '" +
      (out / "lead_sheet.musicxml").string() + "' 2>'" + (out / "said").string() + "'";
  const int exit_code = std::system(command.c_str());
  std::ifstream said(out / "said");
  EXPECT_EQ(exit_code, 0) << said.rdbuf();
  fs::remove_all(out);
}

TEST(Schema, TheDemosLeadSheetIsValidMusicXml) {
  if (const auto why = lacking(); !why.empty()) GTEST_SKIP() << why;
  const auto demo = midi::read_smf_file(fs::path(UNDERSONG_SOURCE_DIR) / "configs/demo.mid");
  ASSERT_TRUE(demo.has_value());
  HandOverOptions options;
  options.title = "Rain & <sun>\x01";
  options.parts.steady = true;
  options.parts.tempo = 92.5;
  const auto folder = hand_over(Played{midi::merged_events(*demo), {}}, options);
  ASSERT_TRUE(folder.has_value());
  expect_valid(*folder);
}

TEST(Schema, TheLeadSheetOfASongInSeveralKeysIsValidMusicXml) {
  if (const auto why = lacking(); !why.empty()) GTEST_SKIP() << why;
  const auto demo = midi::read_smf_file(fs::path(UNDERSONG_SOURCE_DIR) / "configs/demo.mid");
  ASSERT_TRUE(demo.has_value());
  const auto sketch = read_sketch(
      "[[section]]\nsource = \"demo.mid\"\n[[section]]\nsource = \"demo.mid\"\ntranspose = "
      "-4\n[[section]]\nsource = \"demo.mid\"\nspan = [21.0, 35.0]\n",
      "s");
  ASSERT_TRUE(sketch.has_value());
  const auto form =
      form_of_sketch(*sketch, [&](const SketchSource&) -> Result<std::shared_ptr<const TakeStudy>> {
        return std::make_shared<const TakeStudy>(study_take({midi::merged_events(*demo), {}}));
      });
  ASSERT_TRUE(form.has_value());
  const auto folder = hand_over_form(*form);
  ASSERT_TRUE(folder.has_value());
  expect_valid(*folder);
}

}  // namespace
}  // namespace undersong::song

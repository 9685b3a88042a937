// Lead sheets are valid MusicXML 4.0, by the published schema, which lies beside this test with its notice.
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "daemon/midi/smf.h"
#include "daemon/song/form_midi.h"
#include "daemon/song/hand_over.h"
#include "daemon/song/sketch.h"

namespace undersong::song {
namespace {

namespace fs = std::filesystem;

const fs::path kSchema = fs::path(UNDERSONG_SOURCE_DIR) / "tests/song/musicxml-4.0";

struct Verdict {
  int exit_code = 0;  // xmllint's: 3 when the file does not follow the schema
  std::string said;
};

class Schema : public ::testing::Test {
 protected:
  void SetUp() override {
    ASSERT_EQ(std::system("command -v xmllint >/dev/null 2>&1"), 0)
        << "xmllint is not installed (Debian: libxml2-utils)";
    fs::create_directories(out_);
  }
  void TearDown() override { fs::remove_all(out_); }

  Verdict validate(const fs::path& file) const {
    const std::string command =
        "cd '" + kSchema.string() +
        "' && XML_CATALOG_FILES=catalog.xml xmllint --nonet --noout --schema musicxml.xsd '" + file.string() +
        "' 2>'" + (out_ / "said").string() + "'";
    const int status = std::system(command.c_str());
    std::ostringstream said;
    said << std::ifstream(out_ / "said").rdbuf();
    return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, said.str()};
  }
  void expect_valid(const Folder& folder) const {
    ASSERT_TRUE(write_folder(folder, out_ / "parts", true).has_value());
    int sheets = 0;
    for (const File& file : folder.files) {
      if (!file.name.ends_with(".musicxml")) continue;
      ++sheets;
      const Verdict verdict = validate(out_ / "parts" / file.name);
      EXPECT_EQ(verdict.exit_code, 0) << file.name << ": " << verdict.said;
    }
    EXPECT_EQ(sheets, 12);
  }

  const fs::path out_ = fs::temp_directory_path() / ("undersong-schema-" + std::to_string(::getpid()));
};

// What is not MusicXML is found: a validator that accepts everything would make the others worthless.
TEST_F(Schema, AScoreWithAnUnknownKindOfChordIsRefused) {
  const auto score = [&](const std::string& kind) {
    const fs::path file = out_ / "score.musicxml";
    std::ofstream(file) << "<score-partwise version=\"4.0\"><part-list><score-part id=\"P1\"><part-name>A"
                           "</part-name></score-part></part-list><part id=\"P1\"><measure number=\"1\">"
                           "<harmony><root><root-step>C</root-step></root><kind>"
                        << kind << "</kind></harmony></measure></part></score-partwise>";
    return file;
  };
  EXPECT_EQ(validate(score("major-ninth")).exit_code, 0);
  const Verdict wrong = validate(score("sweet"));
  EXPECT_EQ(wrong.exit_code, 3);
  EXPECT_NE(wrong.said.find("'sweet'"), std::string::npos) << wrong.said;
}

TEST_F(Schema, TheDemosLeadSheetIsValidMusicXml) {
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

TEST_F(Schema, TheLeadSheetOfASongInSeveralKeysIsValidMusicXml) {
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

TEST_F(Schema, ASongWithEverySignIsValidMusicXml) {
  const auto demo = midi::read_smf_file(fs::path(UNDERSONG_SOURCE_DIR) / "configs/demo.mid");
  ASSERT_TRUE(demo.has_value());
  const std::string section = "[[section]]\nsource = \"demo.mid\"\nlabel = \"A\"\n";
  const auto sketch = read_sketch(
      "tempo = 96\nfeel = \"swing\"\ncount_in = 1\n" + section +
          "kind = \"verse\"\nrepeats = 2\nbegins = \"segno\"\ndynamics = \"pp\"\nlyrics = [\"eve-ning light "
          "_\", \"la-_-la\"]\n" +
          section +
          "kind = \"chorus\"\nchords = \"Cm7 . Ab | G7 | % | Fm Bb\"\nends = \"to coda\"\ndynamics = "
          "\"ff\"\n" +
          section +
          "kind = \"bridge\"\nmeter = 3\ntempo = 60\nfeel = \"straight\"\nends = \"D.S. al coda\"\n" +
          section +
          "kind = \"outro\"\nbegins = \"coda\"\nlayers = [\"melody\", \"pad\"]\nritardando = true\nfermata = "
          "true\n",
      "s");
  ASSERT_TRUE(sketch.has_value()) << sketch.error().message;
  const auto form =
      form_of_sketch(*sketch, [&](const SketchSource&) -> Result<std::shared_ptr<const TakeStudy>> {
        return std::make_shared<const TakeStudy>(study_take({midi::merged_events(*demo), {}}));
      });
  ASSERT_TRUE(form.has_value()) << form.error().message;
  const auto folder = hand_over_form(*form);
  ASSERT_TRUE(folder.has_value());
  expect_valid(*folder);
}

}  // namespace
}  // namespace undersong::song

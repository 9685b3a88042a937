#include "daemon/song/signs.h"

#include <array>

namespace undersong::song {
namespace {

struct End {
  std::string_view words;
  Signs signs;
};
constexpr Signs jump(Jump jump, Until until) {
  return {.jump = jump, .until = until};
}
constexpr std::array<End, 8> kEnds{{{"fine", {.fine = true}},
                                    {"to coda", {.to_coda = true}},
                                    {"D.C.", jump(Jump::kDaCapo, Until::kEnd)},
                                    {"D.C. al fine", jump(Jump::kDaCapo, Until::kFine)},
                                    {"D.C. al coda", jump(Jump::kDaCapo, Until::kCoda)},
                                    {"D.S.", jump(Jump::kDalSegno, Until::kEnd)},
                                    {"D.S. al fine", jump(Jump::kDalSegno, Until::kFine)},
                                    {"D.S. al coda", jump(Jump::kDalSegno, Until::kCoda)}}};

}  // namespace

bool set_begins(Signs& signs, std::string_view words) {
  signs.segno = words == "segno";
  signs.coda = words == "coda";
  return signs.segno || signs.coda;
}

bool set_ends(Signs& signs, std::string_view words) {
  for (const End& end : kEnds)
    if (end.words == words) {
      signs.fine = end.signs.fine;
      signs.to_coda = end.signs.to_coda;
      signs.jump = end.signs.jump;
      signs.until = end.signs.until;
      return true;
    }
  return false;
}

std::string begins_text(const Signs& signs) {
  return signs.segno ? "segno" : signs.coda ? "coda" : "";
}

std::string ends_text(const Signs& signs) {
  for (const End& end : kEnds)
    if (end.signs.fine == signs.fine && end.signs.to_coda == signs.to_coda && end.signs.jump == signs.jump &&
        end.signs.until == signs.until)
      return std::string(end.words);
  return "";
}

std::string known_begins() {
  return "segno, coda";
}

std::string known_ends() {
  std::string out;
  for (const End& end : kEnds) out += (out.empty() ? "" : ", ") + std::string(end.words);
  return out;
}

}  // namespace undersong::song

#include "daemon/song/sketch_signs.h"

#include <fmt/format.h>

namespace undersong::song {

std::optional<LostSign> lost_sign(const Sketch& sketch) {
  constexpr std::size_t kNone = ~std::size_t{0};
  std::size_t segno = kNone, coda = kNone, fine = kNone, to_coda = kNone, leap = kNone;
  const auto& all = sketch.sections;
  const auto once = [](std::size_t& place, std::size_t here, bool set) {
    const bool again = set && place != kNone;
    if (set && !again) place = here;
    return again;
  };
  for (std::size_t i = 0; i < all.size(); ++i) {
    const Signs& s = all[i].signs;
    if (once(segno, i, s.segno)) return LostSign{i, "begins with a second segno; a song has one"};
    if (once(coda, i, s.coda)) return LostSign{i, "begins with a second coda; a song has one"};
    if (once(fine, i, s.fine)) return LostSign{i, "ends with a second fine; a song has one"};
    if (once(to_coda, i, s.to_coda)) return LostSign{i, "ends with a second \"to coda\"; a song has one"};
    if (once(leap, i, s.jump != Jump::kNone))
      return LostSign{i, fmt::format("ends with a second jump, {}; a song has one", ends_text(s))};
  }
  const Signs none, &jump = leap == kNone ? none : all[leap].signs;
  const std::string words = ends_text(jump);
  if (jump.jump == Jump::kDalSegno && (segno == kNone || segno > leap))
    return LostSign{
        leap,
        fmt::format("ends with {}, but neither it nor a section before it begins with the segno", words)};
  if (segno != kNone && jump.jump != Jump::kDalSegno)
    return LostSign{segno, "begins with the segno, but no section ends with D.S."};
  const std::size_t goal = jump.jump == Jump::kDalSegno ? segno : 0;
  if (jump.until == Until::kFine && (fine == kNone || fine >= leap || fine < goal))
    return LostSign{leap,
                    fmt::format("ends with {}, but no section on the way back to it ends with fine", words)};
  if (fine != kNone && jump.until != Until::kFine)
    return LostSign{fine, "ends with fine, but no section ends with D.C. al fine or D.S. al fine"};
  if (jump.until == Until::kCoda) {
    if (to_coda == kNone || to_coda >= leap || to_coda < goal)
      return LostSign{
          leap,
          fmt::format("ends with {}, but no section on the way back to it ends with \"to coda\"", words)};
    if (coda == kNone || coda <= leap)
      return LostSign{leap, fmt::format("ends with {}, but no section after it begins with the coda", words)};
  } else {
    if (to_coda != kNone)
      return LostSign{to_coda,
                      "ends with \"to coda\", but no section ends with D.C. al coda or D.S. al coda"};
    if (coda != kNone)
      return LostSign{coda, "begins with the coda, but no section ends with D.C. al coda or D.S. al coda"};
  }
  return std::nullopt;
}

}  // namespace undersong::song

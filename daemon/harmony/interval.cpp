#include "daemon/harmony/interval.h"

namespace undersong::harmony {

std::string text(Degree degree) {
  std::string out;
  append_text(out, degree);
  return out;
}

void append_text(std::string& out, Degree degree) {
  out.append(static_cast<std::size_t>(degree.alter < 0 ? -degree.alter : degree.alter),
             degree.alter < 0 ? 'b' : '#');
  if (degree.number >= 10) out += '1';
  out += static_cast<char>('0' + degree.number % 10);
}

std::optional<Degree> parse_degree(std::string_view text) {
  Degree degree{0, 0};
  std::size_t i = 0;
  for (; i < text.size() && (text[i] == 'b' || text[i] == '#'); ++i) {
    degree.alter = static_cast<std::int8_t>(degree.alter + (text[i] == 'b' ? -1 : 1));
    if (i > 2) return std::nullopt;
  }
  if (text.size() - i < 1 || text.size() - i > 2) return std::nullopt;
  int number = 0;
  for (; i < text.size(); ++i) {
    if (text[i] < '0' || text[i] > '9') return std::nullopt;
    number = number * 10 + (text[i] - '0');
  }
  if (number < 1 || number > 13) return std::nullopt;
  degree.number = static_cast<std::int8_t>(number);
  return degree;
}

Degree usual_degree(int semitones_above) {
  static constexpr std::array<Degree, 12> kUsual{{{1, 0},
                                                  {9, -1},
                                                  {9, 0},
                                                  {3, -1},
                                                  {3, 0},
                                                  {11, 0},
                                                  {11, 1},
                                                  {5, 0},
                                                  {13, -1},
                                                  {13, 0},
                                                  {7, -1},
                                                  {7, 0}}};
  return kUsual[static_cast<std::size_t>(((semitones_above % 12) + 12) % 12)];
}

}  // namespace undersong::harmony

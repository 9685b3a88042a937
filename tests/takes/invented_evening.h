// For tests and benchmarks: invented evenings. Somebody wanders over the keys for some minutes, circles three
// loops in between, and marks two moments; a digest should find these five.
//
// The wandering is made to mislead: it goes to and fro between two chords, comes back to chords, and holds
// some of them for long. The same seed gives the same evening.
//
// Units: Micros from the beginning of each take.
// Threads: pure functions; any thread.
// Errors: none.
#pragma once

#include <algorithm>
#include <array>
#include <random>
#include <string>
#include <vector>

#include "daemon/takes/bring.h"
#include "daemon/takes/digest.h"
#include "tests/takes/invented_pieces.h"

namespace undersong::takes {

struct Planted {
  std::size_t take = 0;
  Micros from{}, to{};
  bool marked = false;  // a mark at `to`; otherwise a loop
};

struct InventedEvening {
  std::vector<std::vector<InventedNote>> takes;
  std::vector<Planted> planted;
};

class EveningMaker {
 public:
  EveningMaker(unsigned seed, double minutes) : random_(seed), minutes_(minutes) {}

  InventedEvening make() {
    out_.takes.emplace_back();
    tonic_ = 48 + pick(12) - 6;
    // Loops and marks in any order, with wandering between them.
    std::vector<bool> marked{false, false, false, true, true};
    std::shuffle(marked.begin(), marked.end(), random_);
    const double loop = minutes_ * 60 * .12;  // seconds that a loop is circled, at least
    const double wander = minutes_ * 60 * .55 / static_cast<double>(marked.size() + 1);
    for (const bool mark : marked) {
      this->wander(wander * (.6 + .8 * share()));
      if (mark)
        turn();
      else
        this->loop(loop * (.7 + .6 * share()));
      if (pick(3) == 0) {  // a silence ends the take
        out_.takes.emplace_back();
        at_ = 0;
      }
    }
    this->wander(wander);
    return std::move(out_);
  }

 private:
  using Triad = std::array<int, 4>;
  static constexpr int kMajor[7] = {0, 2, 4, 5, 7, 9, 11};

  int pick(int below) { return static_cast<int>(random_() % static_cast<unsigned>(below)); }
  double share() { return static_cast<double>(random_() % 10'000) / 10'000; }
  std::vector<InventedNote>& notes() { return out_.takes.back(); }
  void strike(double at, double length, int key, bool tune = false) {
    notes().push_back({Micros(static_cast<std::int64_t>(std::max(0., at + .02 * share()) * 1e6)),
                       Micros(static_cast<std::int64_t>(std::max(.05, length) * 1e6)), key, tune});
  }
  int key_of(int step) const { return tonic_ + 12 * (step / 7) + kMajor[step % 7]; }
  // A chord of the key with its seventh now and then, or one from outside of it.
  Triad chord(int degree, bool outside) {
    Triad out{key_of(degree), key_of(degree + 2), key_of(degree + 4), key_of(degree + 6)};
    if (outside) {
      const int moved = pick(4) == 0 ? 1 : -1;
      for (int& key : out) key += moved;
    }
    return out;
  }
  void sound(const Triad& chord, double length, bool seventh) {
    strike(at_, length * .95, chord[0] - 12);
    for (int i = 0; i < (seventh ? 4 : 3); ++i)
      strike(at_ + .01 * i, length * .95, chord[static_cast<std::size_t>(i)]);
  }
  void sing(const Triad& chord, double length, int notes) {
    for (int i = 0; i < notes; ++i)
      strike(at_ + length * i / notes, length / notes * .95,
             chord[static_cast<std::size_t>(pick(4))] + 12 + (pick(5) == 0 ? 2 : 0), true);
  }

  void wander(double seconds) {
    const double end = at_ + seconds;
    int degree = pick(7), before = pick(7);
    while (at_ < end) {
      if (pick(6) == 0) {  // to and fro, but not often enough to be a loop of the evening
        for (int i = 0; i < 2 + 2 * pick(2); ++i) {
          const Triad now = chord(i % 2 == 0 ? degree : before, false);
          const double length = 1 + share();
          sound(now, length, pick(2) == 0);
          sing(now, length, 1 + pick(2));
          at_ += length;
        }
      }
      before = degree;
      degree = pick(4) == 0 ? before : pick(7);
      const Triad now = chord(degree, pick(6) == 0);
      const double length = pick(9) == 0 ? 4 + 3 * share() : .9 + 1.8 * share();
      sound(now, length, pick(2) == 0);
      sing(now, length, 1 + pick(4));
      at_ += length + (pick(8) == 0 ? share() : 0);
    }
  }

  void loop(double seconds) {
    const int length = 3 + pick(3);
    std::vector<int> degrees;
    for (int i = 0; i < length; ++i) {
      int next = pick(7);
      while (!degrees.empty() && (next == degrees.back() || (i == length - 1 && next == degrees.front())))
        next = pick(7);
      degrees.push_back(next);
    }
    const double beat = .45 + .4 * share();
    const int beats = pick(3) == 0 ? 2 : 4;
    const double begin = at_;
    const int rounds = std::max(4, static_cast<int>(seconds / (beat * beats * length)) + 1);
    for (int round = 0; round < rounds; ++round)
      for (const int degree : degrees) {
        const Triad now = chord(degree, false);
        const double lasts = beat * beats * (.98 + .04 * share());
        sound(now, lasts, pick(3) > 0);
        sing(now, lasts, 1 + pick(4));
        at_ += lasts;
      }
    out_.planted.push_back({out_.takes.size() - 1, time(begin), time(at_), false});
  }

  void turn() {
    const double begin = at_;
    wander(10 + 6 * share());
    out_.planted.push_back({out_.takes.size() - 1, time(begin), time(at_), true});
  }
  static Micros time(double seconds) { return Micros(static_cast<std::int64_t>(seconds * 1e6)); }

  std::mt19937 random_;
  double minutes_, at_ = 0;
  int tonic_ = 48;
  InventedEvening out_;
};

inline InventedEvening invented_evening(unsigned seed, double minutes = 20) {
  return EveningMaker(seed, minutes).make();
}

// A take of it as the store keeps it, with its marks.
inline BroughtTake kept_take(const InventedEvening& evening, std::size_t take, std::int64_t utc_ms) {
  auto notes = evening.takes[take];
  std::stable_sort(notes.begin(), notes.end(),
                   [](const InventedNote& a, const InventedNote& b) { return a.at < b.at; });
  BroughtTake out = bring(played(notes), "", utc_ms);
  for (const Planted& each : evening.planted)
    if (each.marked && each.take == take) out.entries.insert(out.entries.end() - 1, mark(each.to, ""));
  return out;
}

// True if the moment is of what was planted: it lies mostly within the loop, or holds most of what was
// marked.
inline bool finds(const DigestMoment& moment, std::size_t take, const Planted& planted) {
  if (take != planted.take) return false;
  const Micros both = std::min(moment.from + moment.length, planted.to) - std::max(moment.from, planted.from);
  return 2 * both > (planted.marked ? planted.to - planted.from : moment.length);
}

}  // namespace undersong::takes

// While somebody plays, the analysis takes no memory from the heap: an allocation may wait for a lock or for
// the system, and then a chord is named late.
#include <gtest/gtest.h>

#include <cstdlib>
#include <new>

#include "daemon/listen/analysis.h"
#include "daemon/listen/meetings.h"
#include "daemon/midi/smf.h"

namespace {

thread_local std::size_t taken = 0;  // allocations of this thread

void* take(std::size_t size) {
  ++taken;
  if (void* memory = std::malloc(size > 0 ? size : 1)) return memory;
  throw std::bad_alloc();
}

}  // namespace

// These stand for the whole program of tests; only their counting matters here. All of them, because what one
// takes another gives back: the standard library's sorting uses those that do not throw.
void* operator new(std::size_t size) {
  return take(size);
}
void* operator new[](std::size_t size) {
  return take(size);
}
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++taken;
  return std::malloc(size > 0 ? size : 1);
}
void* operator new[](std::size_t size, const std::nothrow_t&) noexcept {
  ++taken;
  return std::malloc(size > 0 ? size : 1);
}
void operator delete(void* memory) noexcept {
  std::free(memory);
}
void operator delete[](void* memory) noexcept {
  std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
  std::free(memory);
}
void operator delete[](void* memory, std::size_t) noexcept {
  std::free(memory);
}
void operator delete(void* memory, const std::nothrow_t&) noexcept {
  std::free(memory);
}
void operator delete[](void* memory, const std::nothrow_t&) noexcept {
  std::free(memory);
}

namespace undersong::listen {
namespace {

TEST(Allocation, TheCounterCounts) {
  const std::size_t before = taken;
  const auto memory = std::make_unique<int>(1);
  EXPECT_EQ(taken, before + 1);
}

TEST(Allocation, NoneHappensFromEventToMoment) {
  const auto file = midi::read_smf_file(std::string(UNDERSONG_SOURCE_DIR) + "/configs/demo.mid");
  ASSERT_TRUE(file);
  const auto events = midi::merged_events(*file);
  const auto analysis = std::make_unique<Analysis>();
  std::size_t moments = 0;
  const auto heard = [&](const Analysis&) { ++moments; };
  drive(*analysis, events.front(), heard);  // tables that are made once
  std::size_t worst = 0, sum = 0;
  for (std::size_t i = 1; i < events.size(); ++i) {
    const std::size_t before = taken;
    drive(*analysis, events[i], heard);
    worst = std::max(worst, taken - before);
    sum += taken - before;
  }
  EXPECT_GT(moments, 100u);
  EXPECT_EQ(sum, 0u) << "of " << events.size() << " events; most at one of them: " << worst;
}

}  // namespace
}  // namespace undersong::listen

// FixedVector<T, N>: a vector that never allocates. It stores up to N trivially copyable elements inside.
//
//   FixedVector<Pitch, 4> notes;
//   notes.push_back(Pitch(60));
//
// Units: sizes in elements.
// Threads: as std::vector: any number of readers, or one writer.
// Errors: push_back and insert on a full vector drop the element and return false. As in std::vector, indices
// must exist, and erase, pop_back, front and back need an element.
// Source: none needed.
#pragma once

#include <array>
#include <cstddef>
#include <initializer_list>
#include <type_traits>

namespace undersong {

template <class T, std::size_t N>
class FixedVector {
  static_assert(std::is_trivially_copyable_v<T>);

 public:
  constexpr FixedVector() = default;
  constexpr FixedVector(std::initializer_list<T> items) {
    for (const T& item : items) push_back(item);
  }
  constexpr bool push_back(const T& item) {
    if (size_ == N) return false;
    items_[size_++] = item;
    return true;
  }
  constexpr bool insert(std::size_t at, const T& item) {
    if (size_ == N || at > size_) return false;
    for (std::size_t i = size_; i > at; --i) items_[i] = items_[i - 1];
    items_[at] = item;
    ++size_;
    return true;
  }
  constexpr void erase(std::size_t at) {
    for (std::size_t i = at + 1; i < size_; ++i) items_[i - 1] = items_[i];
    --size_;
  }
  constexpr void resize(std::size_t size) { size_ = size < N ? size : N; }
  constexpr void pop_back() { --size_; }
  constexpr void clear() { size_ = 0; }
  constexpr std::size_t size() const { return size_; }
  constexpr bool empty() const { return size_ == 0; }
  constexpr bool full() const { return size_ == N; }
  static constexpr std::size_t capacity() { return N; }
  constexpr T& operator[](std::size_t i) { return items_[i]; }
  constexpr const T& operator[](std::size_t i) const { return items_[i]; }
  constexpr T* begin() { return items_.data(); }
  constexpr T* end() { return items_.data() + size_; }
  constexpr const T* begin() const { return items_.data(); }
  constexpr const T* end() const { return items_.data() + size_; }
  constexpr T& front() { return items_[0]; }
  constexpr const T& front() const { return items_[0]; }
  constexpr T& back() { return items_[size_ - 1]; }
  constexpr const T& back() const { return items_[size_ - 1]; }
  friend constexpr bool operator==(const FixedVector& a, const FixedVector& b) {
    if (a.size_ != b.size_) return false;
    for (std::size_t i = 0; i < a.size_; ++i)
      if (!(a.items_[i] == b.items_[i])) return false;
    return true;
  }

 private:
  std::array<T, N> items_{};
  std::size_t size_ = 0;
};

}  // namespace undersong

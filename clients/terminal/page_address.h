// Addresses of the page that can be typed. A daemon that serves every address of its machine says 0.0.0.0 or
// [::], which no browser takes.
//
//   page_here("http://0.0.0.0:8344/")      "http://127.0.0.1:8344/"
//   pages_elsewhere("http://0.0.0.0:8344/")     {"http://192.168.1.20:8344/"}
//
// Threads: any.
// Errors: none. pages_elsewhere is empty if only this machine reaches the page, or the system names no
// address.
#pragma once

#include <string>
#include <vector>

namespace undersong::terminal {

// For a browser on this machine.
std::string page_here(const std::string& page);
// For another machine: one for each address of this one, without loopback and link-local addresses.
std::vector<std::string> pages_elsewhere(const std::string& page);

}  // namespace undersong::terminal

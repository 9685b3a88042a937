#include "daemon/base/caught.h"

#include <new>
#include <string>
#include <system_error>

namespace undersong {

Error caught(std::string_view while_what) {
  const auto exhausted = [&](std::string_view what) {
    return Error{ErrorCode::kExhausted, "There was not enough " + std::string(what) + " while " +
                                            std::string(while_what) + "; everything else goes on."};
  };
  const auto fault = [&](const std::string& what) {
    return Error{ErrorCode::kInternal, "An internal error occurred while " + std::string(while_what) +
                                           (what.empty() ? "" : " (" + what + ")") +
                                           "; everything else goes on."};
  };
  try {
    throw;
  } catch (const std::bad_alloc&) {
    return exhausted("memory");
  } catch (const std::length_error&) {  // more than can ever be allocated
    return exhausted("memory");
  } catch (const std::system_error& e) {
    if (e.code() == std::errc::resource_unavailable_try_again || e.code() == std::errc::not_enough_memory)
      return exhausted("memory");
    return fault(e.what());
  } catch (const std::exception& e) {
    return fault(e.what());
  } catch (...) {
    return fault("");
  }
}

}  // namespace undersong

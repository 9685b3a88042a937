// Requests about the file of takes as a whole: backup and restore.
#include <filesystem>

#include "daemon/server/handlers.h"
#include "daemon/server/session.h"

namespace undersong::server {
namespace {

// The daemon's own folder is not the client's.
std::optional<Error> not_absolute(const std::string& file) {
  if (std::filesystem::path(file).is_absolute() && file.find('\0') == std::string::npos) return std::nullopt;
  return invalid_input("params.file must be an absolute path, not \"" + file + "\".");
}

}  // namespace

void answer(Session& session, const protocol::BackUpTakes& wish, To<protocol::BackedUp> to) {
  if (const auto wrong = not_absolute(wish.file)) return to(*wrong);
  session.room().store.backup(wish.file, [to, file = wish.file](Result<std::uintmax_t> size) {
    if (!size) return to(size.error());
    to(protocol::BackedUp{file, *size});
  });
}

void answer(Session& session, const protocol::RestoreTakes& wish, To<protocol::BroughtBack> to) {
  if (const auto wrong = not_absolute(wish.file)) return to(*wrong);
  session.room().store.restore(wish.file, [to](Result<std::filesystem::path> kept) {
    if (!kept) return to(kept.error());
    to(protocol::BroughtBack{kept->string()});
  });
}

}  // namespace undersong::server

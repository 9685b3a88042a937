#include "daemon/song/lead_sheet.h"

#include "daemon/song/sheet.h"
#include "daemon/song/slashes.h"

namespace undersong::song {

std::string lead_sheet(const Form& form) {
  const Form led = with_slashes(form, true);
  const Staff melody{.name = "Melody", .form = &led};
  return write_sheet(form.title, {&melody, 1});
}

}  // namespace undersong::song

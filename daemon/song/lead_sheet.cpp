#include "daemon/song/lead_sheet.h"

#include "daemon/song/sheet.h"

namespace undersong::song {

std::string lead_sheet(const Form& form) {
  const Staff melody{.name = "Melody", .form = &form};
  return write_sheet(form.title, {&melody, 1});
}

}  // namespace undersong::song

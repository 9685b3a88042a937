// Compiles the first third of the requests, and the notifications, see connection_codec.h. In three files, so
// that each takes little memory.
#include "protocol/connection_codec.h"

namespace undersong::protocol {

void compile_codec_1();
void compile_codec_1() {
  using namespace boost::mp11;
  compile_requests<mp_take_c<Requests, mp_size<Requests>::value / 3>>();
  compile_notifications<Notifications>();
}

}  // namespace undersong::protocol

// Compiles the rest of the requests, see connection_codec.h. In three files, so that each takes little
// memory.
#include "protocol/connection_codec.h"

namespace undersong::protocol {

void compile_codec_3();
void compile_codec_3() {
  using namespace boost::mp11;
  compile_requests<mp_drop_c<Requests, 2 * (mp_size<Requests>::value / 3)>>();
}

}  // namespace undersong::protocol

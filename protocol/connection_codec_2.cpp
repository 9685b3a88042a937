// Compiles the second third of the requests, see connection_codec.h. In three files, so that each takes
// little memory.
#include "protocol/connection_codec.h"

namespace undersong::protocol {

void compile_codec_2();
void compile_codec_2() {
  using namespace boost::mp11;
  constexpr auto kThird = mp_size<Requests>::value / 3;
  compile_requests<mp_take_c<mp_drop_c<Requests, kThird>, kThird>>();
}

}  // namespace undersong::protocol

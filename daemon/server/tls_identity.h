// TlsIdentity: the key and the self-signed certificate with which this machine shows itself to other devices.
//
//   auto identity = kept_identity(folder, {"192.168.1.20", "studio"}, now);
//   show(identity->fingerprint);   // "3A:91:...", to be compared with what the browser of the tablet shows
//
// The key is ECDSA P-256. The certificate names the machine's addresses and its name, and can sign for
// nothing else, so a tablet may be told to trust it. It holds for kHolds, because browsers refuse longer
// ones, and is made again kRenewBefore its end, or when the machine has an address that it does not name. The
// file "tls.pem" holds both, with mode 0600.
//
// Units: milliseconds since 1970, UTC.
// Threads: any, but one at a time for one folder. Making a key takes about a millisecond; writing waits for
// the disk.
// Errors: one sentence. A kept file that cannot be used is replaced.
// Source: X.509 is RFC 5280; P-256 is FIPS 186-5; 825 days is the limit of the CA/Browser Forum's baseline
// requirements 1.5.
#pragma once

#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

#include "daemon/base/result.h"
#include "daemon/server/device_book.h"

namespace undersong::server {

struct TlsIdentity {
  std::string certificate, key;    // PEM
  std::string fingerprint;         // SHA-256 of the certificate: "3A:91:..."
  std::vector<std::string> names;  // addresses and host names of the certificate
  UtcMs ends{0};
};

inline constexpr UtcMs kHolds = std::chrono::days(825);
inline constexpr UtcMs kRenewBefore = std::chrono::days(30);

Result<TlsIdentity> make_identity(const std::vector<std::string>& names, UtcMs now);
// The key and the certificate in one PEM text.
Result<TlsIdentity> read_identity(const std::string& pem);
// Whether the certificate names all of them and does not end soon.
bool good_for(const TlsIdentity& identity, const std::vector<std::string>& names, UtcMs now);
// The one in the folder if it is good; otherwise a new one, which is then there.
Result<TlsIdentity> kept_identity(const std::filesystem::path& folder, const std::vector<std::string>& names,
                                  UtcMs now);

}  // namespace undersong::server

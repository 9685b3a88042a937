#include "daemon/server/tls_identity.h"

#include <openssl/bio.h>
#include <openssl/ec.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/x509v3.h>

#include <algorithm>
#include <array>
#include <boost/asio/ip/address.hpp>
#include <cctype>
#include <ctime>
#include <fstream>
#include <iterator>
#include <memory>

#include "daemon/base/private_folder.h"
#include "daemon/base/replace_file.h"

namespace undersong::server {
namespace {

template <auto free>
struct Freed {
  template <class T>
  void operator()(T* what) const {
    free(what);
  }
};
using Key = std::unique_ptr<EVP_PKEY, Freed<EVP_PKEY_free>>;
using Certificate = std::unique_ptr<X509, Freed<X509_free>>;
using Memory = std::unique_ptr<BIO, Freed<BIO_free>>;

// A device whose clock is a little behind must not find that the certificate does not hold yet.
constexpr UtcMs kBeginsEarlier = std::chrono::days(1);

Error failed(const char* what) {
  return {ErrorCode::kInternal,
          std::string("The certificate for other devices can't be made: ") + what + "."};
}

bool is_address(const std::string& name) {
  boost::system::error_code not_one;
  boost::asio::ip::make_address(name, not_one);
  return !not_one;
}
bool is_host_name(const std::string& name) {
  return !name.empty() && std::all_of(name.begin(), name.end(), [](unsigned char c) {
    return std::isalnum(c) || c == '-' || c == '.';
  });
}

bool extend(X509* certificate, int kind, const std::string& value) {
  X509V3_CTX context;
  X509V3_set_ctx_nodb(&context);
  X509V3_set_ctx(&context, certificate, certificate, nullptr, nullptr, 0);
  const std::unique_ptr<X509_EXTENSION, Freed<X509_EXTENSION_free>> extension(
      X509V3_EXT_conf_nid(nullptr, &context, kind, value.c_str()));
  return extension && X509_add_ext(certificate, extension.get(), -1) == 1;
}

// All names as extensions: for whom the certificate is, and that it can sign for nobody else.
struct NameTexts {
  std::string alternative, permitted = "critical";
};
NameTexts texts_of(const std::vector<std::string>& names) {
  NameTexts out;
  for (const std::string& name : names) {
    const bool address = is_address(name);
    if (!out.alternative.empty()) out.alternative += ',';
    out.alternative += (address ? "IP:" : "DNS:") + name;
    const bool v6 = name.find(':') != std::string::npos;
    out.permitted += address ? ",permitted;IP:" + name + "/" +
                                   (v6 ? "ffff:ffff:ffff:ffff:ffff:ffff:ffff:ffff" : "255.255.255.255")
                             : ",permitted;DNS:" + name;
  }
  // Where no name of a kind is permitted, every name of that kind would be.
  if (out.permitted.find(";DNS:") == std::string::npos) out.permitted += ",permitted;DNS:undersong.invalid";
  return out;
}

std::string text_in(BIO* memory) {
  char* bytes = nullptr;
  const long size = BIO_get_mem_data(memory, &bytes);
  return size > 0 ? std::string(bytes, static_cast<std::size_t>(size)) : std::string();
}

std::vector<std::string> names_of(X509* certificate) {
  std::vector<std::string> out;
  const std::unique_ptr<GENERAL_NAMES, Freed<GENERAL_NAMES_free>> all(
      static_cast<GENERAL_NAMES*>(X509_get_ext_d2i(certificate, NID_subject_alt_name, nullptr, nullptr)));
  for (int i = 0; all && i < sk_GENERAL_NAME_num(all.get()); ++i) {
    const GENERAL_NAME* each = sk_GENERAL_NAME_value(all.get(), i);
    const ASN1_STRING* text = each->type == GEN_DNS     ? each->d.dNSName
                              : each->type == GEN_IPADD ? each->d.iPAddress
                                                        : nullptr;
    if (text == nullptr) continue;
    const unsigned char* bytes = ASN1_STRING_get0_data(text);
    const auto size = static_cast<std::size_t>(ASN1_STRING_length(text));
    if (each->type == GEN_DNS) {
      out.emplace_back(reinterpret_cast<const char*>(bytes), size);
    } else if (size == 4) {
      boost::asio::ip::address_v4::bytes_type v4;
      std::copy_n(bytes, size, v4.begin());
      out.push_back(boost::asio::ip::address_v4(v4).to_string());
    } else if (size == 16) {
      boost::asio::ip::address_v6::bytes_type v6;
      std::copy_n(bytes, size, v6.begin());
      out.push_back(boost::asio::ip::address_v6(v6).to_string());
    }
  }
  return out;
}

}  // namespace

Result<TlsIdentity> make_identity(const std::vector<std::string>& names, UtcMs now) {
  std::vector<std::string> usable;
  for (const std::string& name : names)
    if (is_address(name) || is_host_name(name)) usable.push_back(name);
  if (usable.empty()) return failed("this machine has neither an address nor a name");
  const Key key(EVP_EC_gen("P-256"));
  const Certificate certificate(X509_new());
  if (!key || !certificate) return failed("OpenSSL made no key");

  std::array<unsigned char, 16> serial{};
  if (RAND_bytes(serial.data(), static_cast<int>(serial.size())) != 1)
    return failed("OpenSSL has no random numbers");
  serial[0] = static_cast<unsigned char>((serial[0] & 0x7f) | 0x40);  // a positive number of full length
  const std::unique_ptr<BIGNUM, Freed<BN_free>> number(
      BN_bin2bn(serial.data(), static_cast<int>(serial.size()), nullptr));
  const auto seconds = [](UtcMs time) {
    return static_cast<std::time_t>(std::chrono::duration_cast<std::chrono::seconds>(time).count());
  };
  X509_NAME* subject = X509_get_subject_name(certificate.get());
  const auto texts = texts_of(usable);
  bool good = number && BN_to_ASN1_INTEGER(number.get(), X509_get_serialNumber(certificate.get())) != nullptr;
  good = good && X509_set_version(certificate.get(), X509_VERSION_3) == 1;
  good =
      good && ASN1_TIME_set(X509_getm_notBefore(certificate.get()), seconds(now - kBeginsEarlier)) != nullptr;
  good = good && ASN1_TIME_set(X509_getm_notAfter(certificate.get()),
                               seconds(now - kBeginsEarlier + kHolds)) != nullptr;
  good =
      good && X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_ASC,
                                         reinterpret_cast<const unsigned char*>("Undersong"), -1, -1, 0) == 1;
  good = good && X509_set_issuer_name(certificate.get(), subject) == 1;
  good = good && X509_set_pubkey(certificate.get(), key.get()) == 1;
  good = good && extend(certificate.get(), NID_subject_alt_name, texts.alternative);
  // A device can be told to trust only what may sign; therefore it may, for its own names alone.
  good = good && extend(certificate.get(), NID_basic_constraints, "critical,CA:TRUE,pathlen:0");
  good = good && extend(certificate.get(), NID_key_usage, "critical,digitalSignature,keyCertSign");
  good = good && extend(certificate.get(), NID_ext_key_usage, "serverAuth");
  good = good && extend(certificate.get(), NID_name_constraints, texts.permitted);
  good = good && extend(certificate.get(), NID_subject_key_identifier, "hash");
  good = good && X509_sign(certificate.get(), key.get(), EVP_sha256()) != 0;
  if (!good) return failed("OpenSSL refused a part of it");

  const Memory key_text(BIO_new(BIO_s_mem())), certificate_text(BIO_new(BIO_s_mem()));
  if (!key_text || !certificate_text ||
      PEM_write_bio_PrivateKey(key_text.get(), key.get(), nullptr, nullptr, 0, nullptr, nullptr) != 1 ||
      PEM_write_bio_X509(certificate_text.get(), certificate.get()) != 1)
    return failed("OpenSSL could not write it");
  return read_identity(text_in(key_text.get()) + text_in(certificate_text.get()));
}

Result<TlsIdentity> read_identity(const std::string& pem) {
  const auto memory = [&] { return Memory(BIO_new_mem_buf(pem.data(), static_cast<int>(pem.size()))); };
  const Key key(PEM_read_bio_PrivateKey(memory().get(), nullptr, nullptr, nullptr));
  const Certificate certificate(PEM_read_bio_X509(memory().get(), nullptr, nullptr, nullptr));
  if (!key || !certificate || X509_check_private_key(certificate.get(), key.get()) != 1)
    return invalid_input("The text holds no key with its certificate.");
  TlsIdentity out;
  const Memory key_text(BIO_new(BIO_s_mem())), certificate_text(BIO_new(BIO_s_mem()));
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned size = 0;
  std::tm end{};
  if (!key_text || !certificate_text ||
      PEM_write_bio_PrivateKey(key_text.get(), key.get(), nullptr, nullptr, 0, nullptr, nullptr) != 1 ||
      PEM_write_bio_X509(certificate_text.get(), certificate.get()) != 1 ||
      X509_digest(certificate.get(), EVP_sha256(), digest.data(), &size) != 1 ||
      ASN1_TIME_to_tm(X509_get0_notAfter(certificate.get()), &end) != 1)
    return invalid_input("The certificate can't be read.");
  out.key = text_in(key_text.get());
  out.certificate = text_in(certificate_text.get());
  for (unsigned i = 0; i < size; ++i) {
    constexpr std::string_view kDigits = "0123456789ABCDEF";
    if (i > 0) out.fingerprint += ':';
    out.fingerprint += kDigits[digest[i] >> 4];
    out.fingerprint += kDigits[digest[i] & 15];
  }
  out.names = names_of(certificate.get());
  out.ends = std::chrono::seconds(::timegm(&end));
  return out;
}

bool good_for(const TlsIdentity& identity, const std::vector<std::string>& names, UtcMs now) {
  if (identity.ends - now < kRenewBefore) return false;
  return std::all_of(names.begin(), names.end(), [&](const std::string& name) {
    return (!is_address(name) && !is_host_name(name)) ||
           std::find(identity.names.begin(), identity.names.end(), name) != identity.names.end();
  });
}

Result<TlsIdentity> kept_identity(const std::filesystem::path& folder, const std::vector<std::string>& names,
                                  UtcMs now) {
  if (auto made = make_private_folder(folder); !made) return made.error();
  const auto file = folder / "tls.pem";
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  if (auto kept = read_identity(text); kept && good_for(*kept, names, now)) return kept;
  auto made = make_identity(names, now);
  if (!made) return made;
  if (auto written = replace_file(file, made->key + made->certificate); !written) return written.error();
  return made;
}

}  // namespace undersong::server

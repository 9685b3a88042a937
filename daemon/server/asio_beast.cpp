// Asio, its TLS and Beast are compiled once, here; see the compile definitions of this folder's target.
#include <boost/asio/impl/src.hpp>
#include <boost/asio/ssl/impl/src.hpp>
#include <boost/beast/src.hpp>

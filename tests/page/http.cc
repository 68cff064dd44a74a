#include "tests/page/http.h"

#include <boost/asio/connect.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <chrono>
#include <sstream>
#include <stdexcept>

namespace tachproof {

HttpAnswer ask_http(std::uint16_t port, const HttpQuestion& question) {
  namespace asio = boost::asio;
  namespace http = boost::beast::http;
  using boost::system::error_code;
  asio::io_context io;
  boost::beast::tcp_stream stream(io);
  http::request<http::string_body> request;
  request.method_string(question.method);
  request.target(question.target);
  request.version(11);
  request.set(http::field::host, "127.0.0.1:" + std::to_string(port));
  for (const auto& [name, value] : question.headers) request.set(name, value);
  request.set(http::field::connection, "close");
  request.body() = question.body;
  if (!question.body.empty() || question.method == "POST") request.prepare_payload();

  boost::beast::flat_buffer buffer;
  http::response_parser<http::string_body> answer;
  answer.body_limit(std::uint64_t{256} << 20);
  if (question.method == "HEAD") answer.skip(true);
  error_code failed = asio::error::timed_out;
  stream.expires_after(std::chrono::minutes(1));
  stream.async_connect({asio::ip::address_v4::loopback(), port}, [&](error_code error) {
    if (error) return void(failed = error);
    http::async_write(stream, request, [&](error_code unwritten, std::size_t) {
      if (unwritten) return void(failed = unwritten);
      http::async_read(stream, buffer, answer, [&](error_code unread, std::size_t) { failed = unread; });
    });
  });
  io.run();
  if (failed) throw std::runtime_error(question.method + " " + question.target + ": " + failed.message());
  HttpAnswer got;
  got.status = answer.get().result_int();
  for (const auto& field : answer.get())
    got.headers.emplace(std::string(field.name_string()), std::string(field.value()));
  std::ostringstream head;
  head << answer.get().base();
  got.body = answer.get().body();
  got.bytes = head.str().size() + got.body.size();
  return got;
}

}  // namespace tachproof

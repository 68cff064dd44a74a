#include "bench/page/server.h"

#include <fmt/format.h>

#include <atomic>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <chrono>
#include <cstdio>
#include <stdexcept>
#include <thread>

#include "bench/page/event_feed.h"
#include "bench/page/guard.h"

namespace tachproof {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::ip::tcp;
using Asked = http::request<http::string_body>;
using Answer = http::response<http::string_body>;
using boost::system::error_code;
using Awaited = asio::awaitable<void>;

constexpr auto whole_request_within = std::chrono::seconds(10);  // and its answer
constexpr auto idle_for = std::chrono::seconds(60);
constexpr auto sign_of_life = std::chrono::seconds(15);
// Events come no closer: what a lamp does between two is in the next.
constexpr auto between_events = std::chrono::milliseconds(5);

// Nothing runs that is not a file of ours, nothing comes from elsewhere, nobody frames the page.
constexpr const char* page_policy =
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
// A report carries its style sheet in itself, and no script.
constexpr const char* report_policy =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'";

std::string_view text_of(const Asked& asked, http::field name) {
  const auto value = asked[name];
  return {value.data(), value.size()};
}
std::string_view text_of(const Asked& asked, const char* name) {
  const auto value = asked[name];
  return {value.data(), value.size()};
}

Request as_request(const Asked& asked) {
  Request request;
  request.method = std::string(asked.method_string());
  const std::string_view target(asked.target().data(), asked.target().size());
  const std::size_t question = std::min(target.find('?'), target.size());
  request.path = std::string(target.substr(0, question));
  request.query = Fields::of(target.substr(std::min(question + 1, target.size())));
  request.content_type = std::string(text_of(asked, http::field::content_type));
  request.body = asked.body();
  if (request.content_type.starts_with("application/x-www-form-urlencoded"))
    request.form = Fields::of(request.body);
  request.asks_fragment = text_of(asked, "X-Fragment") == "yes";
  return request;
}

}  // namespace

class PageServer::Impl {
 public:
  Impl(const ServerSettings& settings, Handler handler)
      : handler_(std::move(handler)), acceptor_(open(settings.port)), guard_(origins(settings)) {}

  ~Impl() { stop(); }

  void start() {
    asio::co_spawn(io_, accept_all(), asio::detached);
    thread_ = std::thread([this] { io_.run(); });
  }

  void stop() {
    io_.stop();
    if (thread_.joinable()) thread_.join();
    handlers_.join();
  }

  std::uint16_t port() const { return acceptor_.local_endpoint().port(); }
  std::string address() const { return fmt::format("http://127.0.0.1:{}/?key={}", port(), guard_.key()); }

 private:
  tcp::acceptor open(std::uint16_t port) {
    tcp::acceptor acceptor(io_);
    error_code error;
    const tcp::endpoint here(asio::ip::address_v4::loopback(), port);
    acceptor.open(here.protocol(), error);
    if (!error) acceptor.set_option(tcp::acceptor::reuse_address(true), error);
    if (!error) acceptor.bind(here, error);
    if (!error) acceptor.listen(64, error);
    if (error)
      throw std::runtime_error(
          fmt::format("port {} cannot be used: {}; give another with --port", port, error.message()));
    return acceptor;
  }

  std::vector<std::string> origins(const ServerSettings& settings) const {
    std::vector<std::string> all = settings.origins;
    all.push_back(fmt::format("http://127.0.0.1:{}", port()));
    all.push_back(fmt::format("http://localhost:{}", port()));
    return all;
  }

  Awaited accept_all() {
    for (;;) {
      error_code error;
      tcp::socket socket = co_await acceptor_.async_accept(asio::redirect_error(asio::use_awaitable, error));
      if (error == asio::error::operation_aborted) co_return;
      if (error) {  // too many open files: the others go on
        asio::steady_timer pause(io_, std::chrono::milliseconds(100));
        co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
        continue;
      }
      if (connections_ >= most_connections) continue;  // closed at once
      asio::co_spawn(io_, serve(beast::tcp_stream(std::move(socket))), asio::detached);
    }
  }

  struct Counted {
    explicit Counted(std::size_t& of) : of_(of) { ++of_; }
    ~Counted() { --of_; }
    Counted(const Counted&) = delete;
    Counted& operator=(const Counted&) = delete;
    std::size_t& of_;
  };

  Awaited serve(beast::tcp_stream stream) {
    const Counted counted(connections_);
    beast::flat_buffer buffer;
    stream.socket().set_option(tcp::no_delay(true), ignored_);
    for (bool first = true;; first = false) {
      http::request_parser<http::string_body> parser;
      parser.header_limit(static_cast<std::uint32_t>(most_header_bytes));
      parser.body_limit(most_body_bytes);
      error_code error;
      if (first)
        stream.expires_after(whole_request_within);
      else
        stream.expires_after(idle_for);
      co_await http::async_read_header(stream, buffer, parser,
                                       asio::redirect_error(asio::use_awaitable, error));
      if (!error && parser.get().method() == http::verb::post &&
          guard_.asked(origin_of(parser.get())) != Guard::Says::welcome)
        error = http::error::bad_method;  // not one byte of a stranger's upload
      else if (!error) {
        stream.expires_after(whole_request_within);
        co_await http::async_read(stream, buffer, parser, asio::redirect_error(asio::use_awaitable, error));
      }
      Response response;
      const Asked& asked = parser.get();
      if (error) {
        const std::optional<Response> words = words_for(error, asked);
        if (!words) break;
        response = *words;
      } else {
        response = co_await answer(asked);
      }
      const bool keeps = !error && asked.keep_alive();
      if (response.feed) {
        co_await tell(stream, std::move(response.feed));
        break;
      }
      stream.expires_after(whole_request_within);
      Answer reply = as_answer(response, keeps);
      if (asked.method() == http::verb::head) {
        http::response_serializer<http::string_body> head(reply);
        head.split(true);
        co_await http::async_write_header(stream, head, asio::redirect_error(asio::use_awaitable, error));
      } else {
        co_await http::async_write(stream, reply, asio::redirect_error(asio::use_awaitable, error));
      }
      if (error || !keeps) break;
    }
    stream.socket().shutdown(tcp::socket::shutdown_send, ignored_);
  }

  // What a request that could not be read whole is told; nothing: the connection just ends.
  std::optional<Response> words_for(const error_code& error, const Asked& asked) const {
    if (error == http::error::bad_method) return turned_away(guard_.asked(origin_of(asked)));
    if (error == http::error::body_limit) return refused(413, "That file is too large: 64 MB are the most.");
    if (error == http::error::header_limit) return refused(431, "The request's head is too large.");
    if (error == http::error::end_of_stream || error == beast::error::timeout ||
        error == asio::error::connection_reset || error == asio::error::operation_aborted)
      return std::nullopt;
    return refused(400, "That was no request of HTTP.");
  }

  static RequestOrigin origin_of(const Asked& asked) {
    return {{asked.method_string().data(), asked.method_string().size()},
            text_of(asked, http::field::host),
            text_of(asked, http::field::origin),
            text_of(asked, "Sec-Fetch-Site"),
            text_of(asked, http::field::cookie),
            {}};
  }

  asio::awaitable<Response> answer(const Asked& asked) {
    Request request = as_request(asked);
    RequestOrigin from = origin_of(asked);
    const std::string key = request.query.get("key");
    from.key = key;
    const Guard::Says says = guard_.asked(from);
    if (says == Guard::Says::give_cookie) {
      Response response = see_other("/");
      response.headers.emplace_back("Set-Cookie", guard_.cookie_header());
      co_return response;
    }
    // The style sheet is no secret, and a refusal is to be read too.
    const bool plain = request.path == "/page.css" && says == Guard::Says::no_cookie;
    if (says != Guard::Says::welcome && !plain) co_return turned_away(says);
    if (request.path == "/" && request.query.has("key")) co_return see_other("/");
    // A page may have to read a history or draw a report: never on the thread that tells what is live.
    co_await asio::post(asio::bind_executor(handlers_, asio::use_awaitable));
    Response response = handler_(request);
    co_await asio::post(asio::bind_executor(io_, asio::use_awaitable));
    co_return response;
  }

  static Response turned_away(Guard::Says says) {
    switch (says) {
      case Guard::Says::wrong_host: return refused(421, "This server does not answer to that name.");
      case Guard::Says::wrong_origin:
        return refused(403, "That came from another site's page, and was not done.");
      default:
        return refused(403,
                       "This browser is not known here. Open the address that 'tachproof serve' printed: it "
                       "holds the key.");
    }
  }

  static Answer as_answer(const Response& response, bool keeps) {
    Answer reply{static_cast<http::status>(response.status), 11};
    reply.set(http::field::content_type, response.type);
    reply.set("X-Content-Type-Options", "nosniff");
    // Not "no-referrer": with that a browser sends "Origin: null" with an ordinary form, which the guard
    // refuses.
    reply.set("Referrer-Policy", "same-origin");
    reply.set("Cross-Origin-Opener-Policy", "same-origin");
    reply.set("Cross-Origin-Resource-Policy", "same-origin");
    reply.set(http::field::cache_control, "no-store");
    reply.set("Content-Security-Policy", page_policy);
    for (const auto& [name, value] : response.headers)
      if (name == "X-Report")
        reply.set("Content-Security-Policy", report_policy);
      else
        reply.set(name, value);
    reply.keep_alive(keeps);
    reply.body() = response.body;
    reply.prepare_payload();
    return reply;
  }

  // text/event-stream, until the listener goes.
  Awaited tell(beast::tcp_stream& stream, std::shared_ptr<EventFeed> feed) {
    error_code error;
    stream.expires_after(whole_request_within);
    const std::string head =
        "HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\nCache-Control: no-store\r\n"
        "X-Content-Type-Options: nosniff\r\nX-Accel-Buffering: no\r\nConnection: close\r\n\r\n";
    co_await asio::async_write(stream, asio::buffer(head), asio::redirect_error(asio::use_awaitable, error));
    const auto news = std::make_shared<asio::steady_timer>(io_);
    const auto any = std::make_shared<std::atomic<bool>>(false);
    const std::uint64_t listener = feed->listen([this, news, any] {
      if (!any->exchange(true)) asio::post(io_, [news] { news->cancel(); });
    });
    std::uint64_t told = 0;
    while (!error) {
      any->store(false);
      const EventFeed::News now = feed->since(told);
      told = now.upto;
      if (!now.text.empty()) {
        stream.expires_after(whole_request_within);
        co_await asio::async_write(stream, asio::buffer(now.text),
                                   asio::redirect_error(asio::use_awaitable, error));
        if (error) break;
        asio::steady_timer pause(io_, between_events);
        co_await pause.async_wait(asio::redirect_error(asio::use_awaitable, error));
        error = {};
      }
      if (any->load()) continue;
      news->expires_after(sign_of_life);
      error_code waited;
      co_await news->async_wait(asio::redirect_error(asio::use_awaitable, waited));
      if (waited != asio::error::operation_aborted) {  // nothing for long: is anyone there?
        stream.expires_after(whole_request_within);
        static const std::string nothing = ": \n\n";
        co_await asio::async_write(stream, asio::buffer(nothing),
                                   asio::redirect_error(asio::use_awaitable, error));
      }
    }
    feed->leave(listener);
  }

  Handler handler_;
  asio::io_context io_{1};
  asio::thread_pool handlers_{2};
  tcp::acceptor acceptor_;
  Guard guard_;
  std::thread thread_;
  std::size_t connections_ = 0;
  error_code ignored_;
};

PageServer::PageServer(const ServerSettings& settings, Handler handler)
    : impl_(std::make_unique<Impl>(settings, std::move(handler))) {}
PageServer::~PageServer() = default;
void PageServer::start() { impl_->start(); }
void PageServer::stop() { impl_->stop(); }
std::uint16_t PageServer::port() const { return impl_->port(); }
std::string PageServer::address() const { return impl_->address(); }

}  // namespace tachproof

#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "photo/decode.h"
#include "photo/memory.h"

// What the two sides of the decoding worker say to each other over SOCK_SEQPACKET. Both are the same executable.
namespace uroko::photo {

struct Request {
  Job job;
  std::uint64_t bytes = 0;  ///< of the first descriptor, the file; the second is where to answer
};
/// Field by field: a struct's own bytes would carry whatever stood in its padding.
std::string packed(const Request& request);
bool unpack(std::string_view message, Request& request);

/// Followed by the words: packed PhotoInfo, or code, happened, advice.
struct Answer {
  enum class Kind : std::int32_t { photo = 1, error = 2, died = 3 } kind = Kind::died;
  std::int32_t status = 0;        ///< waitpid's, for `died`
  std::int32_t rows = 0, cols = 0;  ///< of the picture that comes through the pipe in the descriptor; 0 without one
};

constexpr std::size_t kMostMessage = 16384;

/// false when the other side is gone. `flags`: sendmsg(2)'s.
bool send_message(int socket, const std::string& message, const std::vector<int>& descriptors, int flags = 0);
/// false at the end of the conversation (or a message that is too long).
bool receive_message(int socket, std::string& message, std::vector<Fd>& descriptors);

/// Serves until the other side closes; never returns. `socket` is the only descriptor that stays open.
[[noreturn]] void serve_decoding(int socket);

template <class T> std::string bytes_of(const T& value) { return {reinterpret_cast<const char*>(&value), sizeof value}; }

}  // namespace uroko::photo

#pragma once
#include "photo/decode.h"
#include "photo/memory.h"

// The asking side of the decoding worker; not for other rooms.
namespace uroko::photo {

/// The file's bytes in memory that the worker can be given; nothing when there is no worker. Throws as read_file does.
std::optional<SealedBytes> worker_file(const std::filesystem::path& file, std::uintmax_t limit);
std::optional<SealedBytes> worker_bytes(std::string_view bytes);

/// Nothing when no worker can be had: decode here. `hash`: the SHA-256 of the bytes, made meanwhile. Throws Error(Fault::input), also
/// for a decoder that crashed ("damaged"), took too long ("too-slow") or too much memory ("no-memory").
std::optional<Loaded> ask_worker(const SealedBytes& bytes, const std::filesystem::path& file, const Job& job, std::string& hash);

}  // namespace uroko::photo

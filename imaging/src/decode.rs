//! Decoding (filled in next).

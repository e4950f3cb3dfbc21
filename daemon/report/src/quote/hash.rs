//! A number made of bytes that is the same on every computer and in every release.

/// FNV-1a of 64 bits. The values are those of its authors' reference
/// implementation; not for anything that somebody could want to guess.
pub(super) fn hash_of(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Test vectors of the authors of the function (draft-eastlake-fnv, appendix).
    #[test]
    fn it_gives_the_published_values() {
        assert_eq!(hash_of(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(hash_of(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(hash_of(b"foobar"), 0x8594_4171_f739_67e8);
    }
}

//! The hash chain over the stored records.
//!
//! `hash = SHA-256(previous hash, then the stored bytes)`; the hash before the
//! first record is `SHA-256(log id)`. Nothing is re-encoded, so anyone with
//! SHA-256 (FIPS 180-4) and the database file can walk it.

use std::fmt;

use sha2::{Digest as _, Sha256};

/// A link of the chain.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// The hash before the first record.
    pub fn genesis(log_id: &[u8; 16]) -> Self {
        Self(Sha256::digest(log_id).into())
    }

    /// The hash of the record that follows this one.
    #[must_use]
    pub fn then(self, record: &[u8]) -> Self {
        let mut digest = Sha256::new();
        digest.update(self.0);
        digest.update(record);
        Self(digest.finalize().into())
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Made with `sha256sum`: of 16 zero bytes, and of that hash followed by "abc".
    #[test]
    fn the_chain_is_plain_sha_256() {
        let genesis = Hash::genesis(&[0; 16]);
        assert_eq!(
            genesis.to_string(),
            "374708fff7719dd5979ec875d56cd2286f6d3cf7ec317a3b25632aab28ec37bb"
        );
        assert_eq!(
            genesis.then(b"abc").to_string(),
            "6f64deeb9b004cea6736c09bcd548bddaca06141b0a4da5a8ed87b5a2eee4011"
        );
    }
}

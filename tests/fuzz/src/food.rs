//! Bytes read as choices: how a target makes structured input out of what the
//! fuzzer gives it. Runs dry into zeros, so that every input means something.

use baywright_terms::time::Micros;

/// A moment in the invented shop's life: Tue 24 Nov 2026 09:00 UTC.
pub const NOW: Micros = Micros(1_795_510_800_000_000);

/// Numbers at which arithmetic breaks.
const EDGES: [i64; 20] = [
    0,
    1,
    -1,
    2,
    59,
    60,
    127,
    128,
    255,
    1_440,
    65_535,
    86_400_000_000,
    i32::MAX as i64,
    i32::MIN as i64,
    u32::MAX as i64,
    // The last microsecond of the year 9999, and a day more.
    253_402_300_799_999_999,
    253_402_387_199_999_999,
    -377_705_116_800_000_000,
    i64::MAX,
    i64::MIN,
];

/// The bytes that are left.
#[derive(Debug, Clone, Copy)]
pub struct Food<'a> {
    rest: &'a [u8],
}

impl<'a> Food<'a> {
    pub fn new(rest: &'a [u8]) -> Self {
        Self { rest }
    }

    pub fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    /// What has not been read.
    pub fn rest(self) -> &'a [u8] {
        self.rest
    }

    pub fn byte(&mut self) -> u8 {
        match self.rest.split_first() {
            Some((first, rest)) => {
                self.rest = rest;
                *first
            }
            None => 0,
        }
    }

    /// Up to `count` bytes.
    pub fn bytes(&mut self, count: usize) -> &'a [u8] {
        let (taken, rest) = self.rest.split_at(count.min(self.rest.len()));
        self.rest = rest;
        taken
    }

    pub fn flag(&mut self) -> bool {
        self.byte() & 1 == 1
    }

    /// Below `bound`, or 0.
    pub fn below(&mut self, bound: usize) -> usize {
        usize::from(self.byte()) % bound.max(1)
    }

    pub fn pick<T: Copy>(&mut self, of: &[T]) -> Option<T> {
        let at = self.below(of.len());
        of.get(at).copied()
    }

    /// Any number: an edge, a small one, or eight bytes as they are.
    pub fn number(&mut self) -> i64 {
        match self.byte() {
            how @ 0..=63 => EDGES
                .get(usize::from(how) % EDGES.len())
                .copied()
                .unwrap_or(0)
                .wrapping_add(i64::from(self.byte() % 3))
                .wrapping_sub(1),
            64..=159 => i64::from(self.byte()),
            160..=223 => i64::from(self.byte()) * 1_000_000 * 60,
            _ => {
                let mut eight = [0_u8; 8];
                for (to, from) in eight.iter_mut().zip(self.bytes(8)) {
                    *to = *from;
                }
                i64::from_le_bytes(eight)
            }
        }
    }

    /// An instant: mostly near [`NOW`], sometimes any.
    pub fn instant(&mut self) -> Micros {
        match self.byte() {
            0..=200 => {
                let minutes = i64::from(self.byte()) * 256 + i64::from(self.byte());
                Micros(NOW.0.saturating_add((minutes - 32_768) * 60_000_000))
            }
            _ => Micros(self.number()),
        }
    }

    pub fn id(&mut self) -> [u8; 16] {
        let mut id = [7_u8; 16];
        id[14] = 0;
        id[15] = self.byte() % 48;
        id
    }

    /// A text: a word of `words`, or some bytes as far as they are UTF-8.
    pub fn text(&mut self, words: &[&str]) -> String {
        match self.byte() {
            how if how < 200 && !words.is_empty() => {
                self.pick(words).unwrap_or_default().to_owned()
            }
            _ => {
                let length = usize::from(self.byte());
                String::from_utf8_lossy(self.bytes(length)).into_owned()
            }
        }
    }
}

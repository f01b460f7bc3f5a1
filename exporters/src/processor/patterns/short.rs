//! Short texts held against a pattern as it is written.
//!
//! Nothing is compiled: the pattern is gone through once, with the set of all places in the text that what is gone through so
//! far can end at, a bit for each place. Repeating goes through the same part again with the places that are new. What is not
//! plain (categories, classes taken from classes, deep nesting, …) is not judged here.

/// Most characters of a text: it has one place more, and a set has 64.
const MOST: usize = 63;
/// How deep groups may nest: each level can go through what is in it several times.
const MAX_DEPTH: usize = 4;
/// The most repetitions that a number asks for.
const MAX_TIMES: usize = 1_000;

/// Places in a text, from the one before its first character.
type Places = u64;

/// What is found: places, and what is left of the pattern. `None` where the pattern is not plain.
type Found<'p> = Option<(Places, &'p str)>;

/// What is known of a plain pattern.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plain {
    /// Whether the whole of it is several patterns, of which one matches.
    alternatives: bool,
}

impl Plain {
    /// Looks through a pattern; `None` if it is not plain.
    pub(super) fn of(pattern: &str) -> Option<Self> {
        let nothing = Text { characters: &[], hasty: false };
        let (_, rest) = nothing.sequence(pattern, 1, 0)?;
        let alternatives = !rest.is_empty();
        if alternatives {
            nothing.ends(pattern)?;
        }
        Some(Self { alternatives })
    }

    /// Whether a whole text matches the pattern; `None` for a long text.
    pub(super) fn matches(self, pattern: &str, text: &str) -> Option<bool> {
        let mut characters = ['\0'; MOST];
        let mut count = 0;
        for character in text.chars() {
            *characters.get_mut(count)? = character;
            count += 1;
        }
        let ends = Text { characters: &characters[..count], hasty: !self.alternatives }.ends(pattern)?;
        Some(ends >> count & 1 == 1)
    }
}

struct Text<'t> {
    characters: &'t [char],
    /// Whether to stop where nothing can match any more, as there are no other alternatives.
    hasty: bool,
}

impl Text<'_> {
    /// Where the whole pattern can end.
    fn ends(&self, pattern: &str) -> Option<Places> {
        let (ends, rest) = self.alternatives(pattern, 1, 0)?;
        rest.is_empty().then_some(ends)
    }

    fn alternatives<'p>(&self, mut rest: &'p str, from: Places, depth: usize) -> Found<'p> {
        let mut ends = 0;
        loop {
            let end;
            (end, rest) = self.sequence(rest, from, depth)?;
            ends |= end;
            match rest.strip_prefix('|') {
                Some(more) => rest = more,
                None => return Some((ends, rest)),
            }
        }
    }

    fn sequence<'p>(&self, mut rest: &'p str, from: Places, depth: usize) -> Found<'p> {
        let mut places = from;
        while !rest.is_empty() && !rest.starts_with(['|', ')']) {
            (places, rest) = self.piece(rest, places, depth)?;
            if self.hasty && depth == 0 && places == 0 {
                return Some((0, ""));
            }
        }
        Some((places, rest))
    }

    /// An atom, as often as is said behind it.
    fn piece<'p>(&self, atom: &'p str, from: Places, depth: usize) -> Found<'p> {
        let (once, rest) = self.atom(atom, from, depth)?;
        let (least, most, rest) = times(rest)?;
        if (least, most) == (1, 1) {
            return Some((once, rest));
        }
        let mut ends = if least == 0 { from } else { 0 };
        let (mut now, mut count) = (from, 0);
        while count < most && now != 0 {
            let next = self.atom(atom, now, depth)?.0;
            count += 1;
            if count < least {
                // What does not move any more has come to the least, too.
                count = if next == now { least - 1 } else { count };
                now = next;
            } else {
                // From where it has been before nothing new follows.
                now = next & !ends;
                ends |= next;
            }
        }
        Some((ends, rest))
    }

    fn atom<'p>(&self, rest: &'p str, from: Places, depth: usize) -> Found<'p> {
        let mut signs = rest.chars();
        let sign = signs.next()?;
        let behind = signs.as_str();
        let fits: Places = match sign {
            '(' => {
                let deeper =
                    Some(depth + 1).filter(|depth| *depth <= MAX_DEPTH && !behind.starts_with('?'))?;
                let (ends, rest) = self.alternatives(behind, from, deeper)?;
                return Some((ends, rest.strip_prefix(')')?));
            }
            '[' => {
                let (fits, rest) = self.class(behind, from)?;
                return Some((fits << 1, rest));
            }
            '\\' => {
                let escaped = signs.next()?;
                return Some((self.escaped(escaped, from)? << 1, signs.as_str()));
            }
            '.' => self.among(from, |character| !matches!(character, '\n' | '\r')),
            '?' | '*' | '+' | '{' | '}' | ']' | ')' | '|' => return None,
            sign => self.among(from, |character| character == sign),
        };
        Some((fits << 1, behind))
    }

    /// Those places that are before a character of a class.
    fn class<'p>(&self, inside: &'p str, from: Places) -> Found<'p> {
        let (negated, inside) = match inside.strip_prefix('^') {
            Some(rest) => (true, rest),
            None => (false, inside),
        };
        let mut signs = inside.chars();
        let (mut fits, mut first) = (0, true);
        loop {
            let sign = signs.next()?;
            let ranges = signs.as_str().starts_with('-') && !signs.as_str().starts_with("-]");
            fits |= match sign {
                ']' if !first => break,
                '\\' => self.escaped(signs.next().filter(|_| !ranges)?, from)?,
                // A hyphen is itself at either end.
                '-' if ranges || !first && !signs.as_str().starts_with(']') => return None,
                '[' | ']' => return None,
                least if ranges => {
                    let last =
                        signs.nth(1).filter(|last| !matches!(last, '[' | '\\' | '-') && least <= *last)?;
                    self.among(from, |character| (least..=last).contains(&character))
                }
                sign => self.among(from, |character| character == sign),
            };
            first = false;
        }
        let fits = if negated { self.among(from, |_| true) & !fits } else { fits };
        Some((fits, signs.as_str()))
    }

    /// Those places that are before a character of an escaped sign.
    fn escaped(&self, sign: char, from: Places) -> Option<Places> {
        Some(match sign {
            's' => self.among(from, |character| matches!(character, ' ' | '\t'..='\r')),
            'd' => self.among(from, |character| character.is_ascii_digit()),
            sign if sign.is_ascii_punctuation() => self.among(from, |character| character == sign),
            _ => return None,
        })
    }

    /// Those places that are before such a character.
    fn among(&self, from: Places, fits: impl Fn(char) -> bool) -> Places {
        let (mut left, mut places) = (from, 0);
        while left != 0 {
            let place = left & left.wrapping_neg();
            left ^= place;
            let character = self.characters.get(place.trailing_zeros() as usize);
            if character.is_some_and(|character| fits(*character)) {
                places |= place;
            }
        }
        places
    }
}

/// How often an atom stands there, by what is behind it: at least, at most.
fn times(rest: &str) -> Option<(usize, usize, &str)> {
    let (least, most, rest) = match rest.chars().next() {
        Some('?') => (0, 1, &rest[1..]),
        Some('*') => (0, usize::MAX, &rest[1..]),
        Some('+') => (1, usize::MAX, &rest[1..]),
        Some('{') => {
            let (inside, rest) = rest[1..].split_once('}')?;
            let number = |digits: &str| {
                let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
                digits.parse().ok().filter(|number| plain && *number <= MAX_TIMES)
            };
            let (least, most) = match inside.split_once(',') {
                None => (number(inside)?, number(inside)?),
                Some((least, "")) => (number(least)?, usize::MAX),
                Some((least, most)) => (number(least)?, number(most)?),
            };
            (least, Some(most).filter(|most| least <= *most)?, rest)
        }
        _ => return Some((1, 1, rest)),
    };
    // A second sign of how often, or one that asks for as few as possible.
    (!rest.starts_with(['?', '*', '+', '{'])).then_some((least, most, rest))
}

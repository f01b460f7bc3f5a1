//! The fonts, and how wide texts are in them.

use std::io::Read as _;
use std::sync::LazyLock;

use flate2::read::GzDecoder;
use krilla::text::Font;
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider as _};
use textwrap::core::Fragment;
use textwrap::wrap_algorithms::wrap_first_fit;

/// A face of the sheets: DejaVu, whose digits are all equally wide; licence in `service/fonts/LICENSE`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Face {
    /// For reading.
    Plain,
    /// For headings and answers.
    Bold,
    /// For workings in columns.
    Mono,
}

impl Face {
    /// The font's file. It is packed in the program, because few processes ever print.
    fn data(self) -> &'static [u8] {
        static FILES: LazyLock<[Vec<u8>; 3]> = LazyLock::new(|| {
            let packed: [&[u8]; 3] = [
                include_bytes!("../../fonts/DejaVuSans.ttf.gz"),
                include_bytes!("../../fonts/DejaVuSans-Bold.ttf.gz"),
                include_bytes!("../../fonts/DejaVuSansMono.ttf.gz"),
            ];
            packed.map(|packed| {
                let mut file = Vec::new();
                let unpacked = GzDecoder::new(packed).read_to_end(&mut file);
                unpacked.expect("the built-in fonts are whole");
                file
            })
        });
        &FILES[self as usize]
    }

    /// The font as it is embedded, cut down to the signs that are used.
    pub(super) fn font(self) -> Font {
        static FONTS: LazyLock<[Font; 3]> = LazyLock::new(|| {
            [Face::Plain, Face::Bold, Face::Mono]
                .map(|face| Font::new(face.data().into(), 0).expect("the built-in fonts can be read"))
        });
        FONTS[self as usize].clone()
    }

    /// How wide a text is at `size`, in points; without kerning, so never narrower than it is drawn.
    pub(super) fn width(self, text: &str, size: f32) -> f32 {
        let font = FontRef::new(self.data()).expect("the built-in fonts can be read");
        let metrics = font.glyph_metrics(Size::new(size), LocationRef::default());
        let letters = font.charmap();
        let advance = |letter: char| {
            let glyph = letters.map(letter).unwrap_or_default();
            metrics.advance_width(glyph).unwrap_or(size)
        };
        text.chars().map(advance).sum()
    }

    /// A text in lines of at most `width` points. Only ordinary blanks end a line; a word that is wider stands alone.
    pub(super) fn wrap(self, text: &str, size: f32, width: f32) -> Vec<String> {
        let blank = self.width(" ", size);
        let words: Vec<Word<'_>> = text
            .split(' ')
            .map(|text| Word { text, width: self.width(text, size).into(), blank: blank.into() })
            .collect();
        let lines = wrap_first_fit(&words, &[f64::from(width)]);
        lines
            .into_iter()
            .map(|line| line.iter().map(|word| word.text).collect::<Vec<_>>().join(" "))
            .collect()
    }
}

#[derive(Debug)]
struct Word<'t> {
    text: &'t str,
    width: f64,
    blank: f64,
}

impl Fragment for Word<'_> {
    fn width(&self) -> f64 {
        self.width
    }

    fn whitespace_width(&self) -> f64 {
        self.blank
    }

    fn penalty_width(&self) -> f64 {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_equally_wide_in_every_face() {
        for face in [Face::Plain, Face::Bold, Face::Mono] {
            let zero = face.width("0", 10.0);
            for digit in '1'..='9' {
                assert!((face.width(&digit.to_string(), 10.0) - zero).abs() < 1e-3, "{digit} in {face:?}");
            }
        }
    }

    #[test]
    fn lines_keep_to_their_width_and_lose_nothing() {
        let text =
            "The dry run takes 12.40\u{a0}kg of sand, and the second one takes 3.57\u{a0}kg more than that.";
        let lines = Face::Plain.wrap(text, 11.0, 150.0);
        assert!(lines.len() > 3, "{lines:?}");
        assert!(lines.iter().all(|line| Face::Plain.width(line, 11.0) <= 150.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().any(|line| line.contains("12.40\u{a0}kg")), "{lines:?}");
    }
}

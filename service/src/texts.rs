//! What pages say, by language: Fluent messages of `service/locales/`, numbers and dates as CLDR writes them.
//!
//! Each part of the service has a file of messages in every language, and its messages begin with the file's name. A
//! message is a whole sentence, never a piece of one. A test holds that all languages have the same messages with the
//! same variables, and that every message that sources and templates ask for exists.
//!
//! Sources: Project Fluent's syntax 1.0; Unicode CLDR as ICU4X carries it.

use std::borrow::Cow;
use std::collections::HashMap;
use std::future::{Ready, ready};
use std::sync::LazyLock;

use actix_web::cookie::Cookie;
use actix_web::dev::Payload;
use actix_web::http::Uri;
use actix_web::http::header::{ACCEPT_LANGUAGE, AcceptLanguage, Header as _};
use actix_web::{FromRequest, HttpRequest};
use askama::Template;
use askama::filters::Safe;
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource, FluentValue};
use fluent_syntax::ast::{Entry, PatternElement};
use icu_calendar::Iso;
use icu_datetime::DateTimeFormatter;
use icu_datetime::fieldsets::YMDET;
use icu_datetime::input::{Date, DateTime, Time};
use icu_datetime::options::TimePrecision;
use icu_decimal::DecimalFormatter;
use icu_decimal::input::Decimal;
use icu_locale_core::Locale;
use jiff::{Timestamp, ZonedDateTime};
use qbank::locale::Language;

use crate::remembered::Remembered;
use crate::windows::Zone;

/// Name of the cookie that holds the reader's choice of language.
pub const COOKIE: &str = "language";

/// No language groups fewer than four digits; nearly all counts have fewer.
const GROUPED_FROM: u64 = 1000;

/// How many texts of a kind are remembered.
const TOLD_MOST: usize = 1000;

macro_rules! messages {
    ($locale:literal) => {
        [
            include_str!(concat!("../locales/", $locale, "/frame.ftl")),
            include_str!(concat!("../locales/", $locale, "/refusals.ftl")),
            include_str!(concat!("../locales/", $locale, "/quiz.ftl")),
            include_str!(concat!("../locales/", $locale, "/drawings.ftl")),
            include_str!(concat!("../locales/", $locale, "/class.ftl")),
            include_str!(concat!("../locales/", $locale, "/paper.ftl")),
            include_str!(concat!("../locales/", $locale, "/content.ftl")),
            include_str!(concat!("../locales/", $locale, "/running.ftl")),
            include_str!(concat!("../locales/", $locale, "/problems.ftl")),
        ]
    };
}

static ENGLISH: LazyLock<Texts> = LazyLock::new(|| {
    let mut texts = Texts::new("en-US", "English", Language::English, &messages!("en-US"));
    texts.bundle.set_formatter(Some(|value, _| ENGLISH.grouped(value)));
    texts
});
static SPANISH: LazyLock<Texts> = LazyLock::new(|| {
    let mut texts = Texts::new("es-US", "Español", Language::Spanish, &messages!("es-US"));
    texts.bundle.set_formatter(Some(|value, _| SPANISH.grouped(value)));
    texts
});

tokio::task_local! {
    static READER: Reader;
}

/// Who made the request that is being answered.
#[derive(Debug, Clone)]
struct Reader {
    texts: &'static Texts,
    /// Where the request went.
    address: Uri,
}

/// All messages in one language.
pub struct Texts {
    tag: &'static str,
    name: &'static str,
    language: Language,
    bundle: FluentBundle<FluentResource>,
    /// The messages without variables, which are most.
    plain: HashMap<String, Plain>,
    numbers: DecimalFormatter,
    times: DateTimeFormatter<YMDET>,
    /// Times that were told, by the minute on the clock there and its offset: a class begins within a few.
    told: Remembered<(i64, i32), String>,
    /// Messages that were told of counts.
    counted: Remembered<(&'static str, Vec<u32>), String>,
}

/// A message without variables.
struct Plain {
    text: String,
    /// The same with what is special to HTML escaped.
    html: String,
}

impl Plain {
    /// The message of that entry, if it has text and nothing else.
    fn of(entry: &Entry<&str>) -> Option<(String, Self)> {
        let Entry::Message(message) = entry else { return None };
        let part = |element: &PatternElement<&str>| match element {
            PatternElement::TextElement { value } => Some((*value).to_owned()),
            PatternElement::Placeable { .. } => None,
        };
        let text = message.value.as_ref()?.elements.iter().map(part).collect::<Option<String>>()?;
        let html = escaped(&text);
        Some((message.id.name.to_owned(), Self { text, html }))
    }
}

/// A text with what is special to HTML escaped.
fn escaped(text: &str) -> String {
    #[derive(Template)]
    #[template(ext = "html", source = "{{ text }}")]
    struct Escaped<'a> {
        text: &'a str,
    }
    Escaped { text }.render().expect("writing to memory does not fail")
}

impl std::fmt::Debug for Texts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Texts").field(&self.tag).finish()
    }
}

impl Texts {
    fn new(tag: &'static str, name: &'static str, language: Language, files: &[&str]) -> Self {
        const BUILT_IN: &str = "locales and messages are compiled in, and a test reads them";
        let mut bundle = FluentBundle::new_concurrent(vec![tag.parse().expect(BUILT_IN)]);
        let mut plain = HashMap::new();
        // Marks around variables are for mixed directions of writing; both languages run the same way.
        bundle.set_use_isolating(false);
        for file in files {
            let resource = FluentResource::try_new((*file).to_owned()).map_err(|(_, errors)| errors);
            let resource = resource.expect(BUILT_IN);
            plain.extend(resource.entries().filter_map(Plain::of));
            bundle.add_resource(resource).expect(BUILT_IN);
        }
        let locale: Locale = tag.parse().expect(BUILT_IN);
        Self {
            tag,
            name,
            language,
            bundle,
            plain,
            told: Remembered::at_most(TOLD_MOST),
            counted: Remembered::at_most(TOLD_MOST),
            numbers: DecimalFormatter::try_new((&locale).into(), Default::default()).expect(BUILT_IN),
            times: DateTimeFormatter::try_new(
                (&locale).into(),
                YMDET::long().with_time_precision(TimePrecision::Minute),
            )
            .expect(BUILT_IN),
        }
    }

    /// The messages for a locale such as `es-MX`: of its language, or English.
    pub fn of(locale: &str) -> &'static Self {
        Self::in_language(Language::of_locale(locale).unwrap_or_default())
    }

    /// The messages in a language.
    pub fn in_language(language: Language) -> &'static Self {
        match language {
            Language::English => &ENGLISH,
            Language::Spanish => &SPANISH,
        }
    }

    /// All languages there are.
    pub fn all() -> [&'static Self; 2] {
        [&ENGLISH, &SPANISH]
    }

    /// The messages of the one who made the request that is being answered; English outside of requests.
    pub fn of_reader() -> &'static Self {
        READER.try_with(|reader| reader.texts).unwrap_or(&ENGLISH)
    }

    /// Path and query of the request that is being answered.
    pub(crate) fn readers_address() -> Option<String> {
        READER.try_with(|reader| path_and_query(&reader.address)).ok()
    }

    /// Answers a request to that address in the language of its reader.
    pub(crate) async fn for_reader<F: Future>(texts: &'static Self, address: Uri, answer: F) -> F::Output {
        READER.scope(Reader { texts, address }, answer).await
    }

    /// What a request asks for: the reader's choice, else the first language of the browser that there is, else English.
    pub(crate) fn asked_by(request: &HttpRequest) -> &'static Self {
        let chosen = request.cookie(COOKIE);
        let chosen = chosen.as_ref().map(Cookie::value).and_then(Language::of_locale);
        Self::in_language(chosen.or_else(|| accepted(request)).unwrap_or_default())
    }

    /// BCP 47 tag of the language with its region: `en-US`.
    pub fn tag(&self) -> &'static str {
        self.tag
    }

    /// What the language calls itself.
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// The language.
    pub fn language(&self) -> Language {
        self.language
    }

    /// The message `id`. One that is missing shows its id; the tests see to it that none is.
    pub fn say(&self, id: &str) -> String {
        self.plain.get(id).map_or_else(|| self.with(id, &[]), |plain| plain.text.clone())
    }

    /// As [`Texts::say`], for a template: escaped once for all.
    pub fn html(&self, id: &str) -> Safe<Cow<'_, str>> {
        Safe(match self.plain.get(id) {
            Some(plain) => Cow::Borrowed(&plain.html),
            None => Cow::Owned(escaped(&self.with(id, &[]))),
        })
    }

    /// The message `id` with its variables.
    pub fn with(&self, id: &str, variables: &[(&'static str, FluentValue<'_>)]) -> String {
        let Some(pattern) = self.bundle.get_message(id).and_then(|message| message.value()) else {
            tracing::error!(id, language = self.tag, "a message is missing");
            return id.to_owned();
        };
        let mut told = FluentArgs::with_capacity(variables.len());
        for (name, value) in variables {
            told.set(*name, value.clone());
        }
        let mut errors = Vec::new();
        let text = self.bundle.format_pattern(pattern, Some(&told), &mut errors).into_owned();
        if !errors.is_empty() {
            tracing::error!(id, language = self.tag, ?errors, "a message lacks a variable");
        }
        text
    }

    /// As [`Texts::with`], for messages on many pages whose variables are counts.
    pub fn counting<const N: usize>(&self, id: &'static str, counts: [(&'static str, u32); N]) -> String {
        self.counted.or((id, counts.map(|(_, count)| count).to_vec()), || {
            self.with(id, &counts.map(|(name, count)| (name, count.into())))
        })
    }

    /// A count as the language writes it: `12,500`.
    pub fn number(&self, count: impl Into<u64>) -> String {
        self.numbers.format(&Decimal::from(count.into())).to_string()
    }

    /// A number of a message with its digits grouped, if it is a count.
    fn grouped(&self, value: &FluentValue<'_>) -> Option<String> {
        let FluentValue::Number(number) = value else { return None };
        let digits = number.as_string();
        let count = digits.parse::<u64>().ok()?;
        Some(if count < GROUPED_FROM { digits.into_owned() } else { self.number(count) })
    }

    /// A time for people in `zone`, with the offset from UTC where that is not zero.
    pub fn date_time(&self, time: Timestamp, zone: &Zone) -> String {
        let zoned = zone.at(time);
        let offset = zoned.offset().seconds();
        let minute = ((time.as_second() + i64::from(offset)).div_euclid(60), offset);
        self.told.or(minute, || {
            let written = DateTime { date: date_of(&zoned), time: time_of(&zoned) };
            let offset = if offset == 0 { String::new() } else { zoned.strftime("%:z").to_string() };
            format!("{} (UTC{offset})", self.times.format(&written))
        })
    }
}

/// The part of a request's address that the browser asks for.
pub(crate) fn path_and_query(address: &Uri) -> String {
    address.path_and_query().map_or_else(String::new, ToString::to_string)
}

const OF_JIFF: &str = "a time of jiff is one of the calendar, too";

fn date_of(zoned: &ZonedDateTime) -> Date<Iso> {
    let (month, day) = (zoned.month().unsigned_abs(), zoned.day().unsigned_abs());
    Date::try_new_iso(zoned.year().into(), month, day).expect(OF_JIFF)
}

fn time_of(zoned: &ZonedDateTime) -> Time {
    let [hour, minute, second] = [zoned.hour(), zoned.minute(), zoned.second()].map(i8::unsigned_abs);
    Time::try_new(hour, minute, second, 0).expect(OF_JIFF)
}

/// The first language of a request's `Accept-Language` that there is, by its weights (RFC 9110, 12.5.4).
fn accepted(request: &HttpRequest) -> Option<Language> {
    request.headers().contains_key(ACCEPT_LANGUAGE).then_some(())?;
    let accepted = AcceptLanguage::parse(request).ok()?;
    accepted.ranked().into_iter().find_map(|range| Language::of_locale(range.item()?.as_str()))
}

/// The messages in the language of whoever asks.
#[derive(Debug, Clone, Copy)]
pub struct ReaderTexts(pub &'static Texts);

impl FromRequest for ReaderTexts {
    type Error = std::convert::Infallible;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Ok(Self(Texts::asked_by(request))))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};
    use std::path::{Path, PathBuf};

    use actix_web::test::TestRequest;

    use super::*;

    /// Each message of a language with the variables that it uses.
    fn messages(tag: &str) -> BTreeMap<String, BTreeSet<String>> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("locales").join(tag);
        let mut all = BTreeMap::new();
        for file in files_below(&folder, "ftl") {
            let prefix = format!("{}-", file.file_stem().unwrap().to_str().unwrap());
            let text = std::fs::read_to_string(&file).unwrap();
            let mut current: Option<String> = None;
            for line in text.lines() {
                if let Some((id, _)) =
                    line.split_once(" =").filter(|_| line.starts_with(|c: char| c.is_ascii_alphabetic()))
                {
                    assert!(id.starts_with(&prefix), "{}: {id} does not begin with {prefix}", file.display());
                    assert!(all.insert(id.to_owned(), BTreeSet::new()).is_none(), "{id} is there twice");
                    current = Some(id.to_owned());
                }
                let Some(variables) = current.as_ref().and_then(|id| all.get_mut(id)) else { continue };
                for part in line.split('$').skip(1) {
                    let end = part.find(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '-'));
                    variables.insert(part[..end.unwrap_or(part.len())].to_owned());
                }
            }
        }
        all
    }

    fn files_below(folder: &Path, extension: &str) -> Vec<PathBuf> {
        let mut found = Vec::new();
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                found.extend(files_below(&path, extension));
            } else if path.extension().is_some_and(|its| its == extension) {
                found.push(path);
            }
        }
        found.sort();
        found
    }

    #[test]
    fn all_languages_have_the_same_messages_with_the_same_variables() {
        let [english, spanish] = Texts::all().map(|texts| messages(texts.tag()));
        assert!(english.len() > 80, "only {} messages were found", english.len());
        let ids = |of: &BTreeMap<String, BTreeSet<String>>| of.keys().cloned().collect::<BTreeSet<_>>();
        let lacking =
            |of: &BTreeSet<String>, from: &BTreeSet<String>| of.difference(from).cloned().collect::<Vec<_>>();
        let (e, s) = (ids(&english), ids(&spanish));
        assert_eq!((lacking(&e, &s), lacking(&s, &e)), (vec![], vec![]), "(only English, only Spanish)");
        for (id, variables) in &english {
            assert_eq!(variables, &spanish[id], "{id}");
        }
    }

    #[test]
    fn every_message_that_sources_and_templates_ask_for_exists() {
        let known = messages("en-US");
        let here = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut asked = 0;
        let files = files_below(&here.join("src"), "rs")
            .into_iter()
            .chain(files_below(&here.join("templates"), "html"));
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap();
            for call in [".say(\"", ".html(\"", ".with(\"", ".counting(\""] {
                for part in text.split(call).skip(1) {
                    let id = part.split('"').next().unwrap();
                    // Other things have methods of these names; our ids have a prefix and a hyphen.
                    let prefix = id.split('-').next().unwrap();
                    let ours = [
                        "frame", "refusals", "quiz", "drawings", "class", "paper", "content", "running",
                        "problems",
                    ];
                    if !id.contains('-') || !ours.contains(&prefix) {
                        continue;
                    }
                    assert!(known.contains_key(id), "{}: no message {id}", file.display());
                    asked += 1;
                }
            }
        }
        assert!(asked > 20, "only {asked} uses were found");
    }

    #[test]
    fn languages_are_found_by_locale() {
        for (locale, tag) in
            [("en-US", "en-US"), ("es-MX", "es-US"), ("es", "es-US"), ("de-DE", "en-US"), ("", "en-US")]
        {
            assert_eq!(Texts::of(locale).tag(), tag, "{locale}");
        }
    }

    /// RFC 9110, 12.5.4: weights count, not the order.
    #[test]
    fn a_readers_choice_comes_before_the_browsers_languages() {
        let asked = |header: Option<&str>, cookie: Option<&str>| {
            let mut request = TestRequest::default();
            if let Some(header) = header {
                request = request.insert_header((ACCEPT_LANGUAGE, header));
            }
            if let Some(cookie) = cookie {
                request = request.cookie(Cookie::new(COOKIE, cookie.to_owned()));
            }
            Texts::asked_by(&request.to_http_request()).tag()
        };
        assert_eq!(asked(None, None), "en-US");
        assert_eq!(asked(Some("es-MX,es;q=0.9,en;q=0.8"), None), "es-US");
        assert_eq!(asked(Some("en;q=0.5, es;q=0.9"), None), "es-US");
        assert_eq!(asked(Some("fr-CA,de;q=0.9"), None), "en-US");
        assert_eq!(asked(Some(";;;q=,"), None), "en-US");
        assert_eq!(asked(Some("es"), Some("en-US")), "en-US");
        assert_eq!(asked(None, Some("es-US")), "es-US");
        assert_eq!(asked(Some("es"), Some("tlh")), "es-US");
    }

    /// The forms are those of Unicode CLDR 48 for `en` and `es-US` (from memory).
    #[test]
    fn numbers_and_times_are_written_as_the_language_does() {
        let [english, spanish] = Texts::all();
        assert_eq!(english.number(12_500_u64), "12,500");
        assert_eq!(spanish.number(12_500_u64), "12,500");
        let time: Timestamp = "2026-03-02T15:15:00Z".parse().unwrap();
        let zone: Zone = "America/Chicago".parse().unwrap();
        let told = english.date_time(time, &zone);
        assert_eq!(told.replace('\u{202f}', " "), "Monday, March 2, 2026 at 9:15 AM (UTC-06:00)");
        let told = spanish.date_time(time, &zone);
        let counts = [("problem", 12_500.into())];
        assert_eq!(english.with("frame-form-why", &counts), "12,500.");
        assert!(told.starts_with("lunes, 2 de marzo de 2026") && told.contains("9:15"), "{told}");
    }
}

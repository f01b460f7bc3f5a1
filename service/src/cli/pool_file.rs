//! A pool file that is never held whole: its questions are handed on one by one, to be read and proven by whoever takes them.
//!
//! A pool of a hundred thousand questions takes gigabytes once it is read. What is written from it needs one question
//! at a time; so the file is read anew each time. Opening goes through the whole file once and sees to its form, its sections and
//! the names of its questions; a question that cannot be proven ends the writing.
use std::{
    borrow::Cow,
    cell::RefCell,
    collections::HashSet,
    fmt,
    fs::File,
    io::BufReader,
    ops::ControlFlow,
    path::{Path, PathBuf},
};

use anyhow::{Context, anyhow, ensure};
use exporters::{
    archive::Fingerprint,
    source::{ItemSource, Proven, SectionHead, SourceError, Unproven, Visit},
};
use indicatif::ProgressBar;
use qbank::{
    pool::PoolError,
    question::{Question, is_plain_id},
};
use serde::{
    Deserialize,
    de::{self, DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor},
};
use serde_json::value::RawValue;

/// A pool file whose form is right. Its questions are proven when they are taken.
#[derive(Debug)]
pub(crate) struct PoolFile {
    path: PathBuf,
    bar: ProgressBar,
    pool: Heads,
}

/// A pool without its questions.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Heads {
    id: String,
    title: String,
    locale: String,
    /// Each with the number of its questions.
    sections: Vec<(SectionHead, u32)>,
}

/// What is looked at of a question when the file is opened.
#[derive(Deserialize)]
struct Named {
    id: String,
}

impl PoolFile {
    /// Opens a file. `bar` counts the bytes that are read, this time and later.
    ///
    /// # Errors
    /// If the file cannot be read, or has not the form of a pool.
    pub(crate) fn open(path: &Path, bar: ProgressBar) -> anyhow::Result<Self> {
        let mut ids = Ids::default();
        let pool = go_through(path, &bar, &mut |_, Named { id }| ids.add(&id).map_err(Some))
            .and_then(|pool| ids.check(&pool).map(|()| pool))
            .with_context(|| path.display().to_string())?;
        Ok(Self { path: path.to_owned(), bar, pool })
    }

    /// How many questions it holds.
    pub(crate) fn items(&self) -> u64 {
        self.pool.sections.iter().map(|(_, questions)| u64::from(*questions)).sum()
    }

    /// Reads a question and proves it.
    fn prove(&self, section: usize, question: &RawValue) -> Proven<'_> {
        let SectionHead { id, .. } = &self.pool.sections[section].0;
        let told = |error: PoolError| SourceError(error.into());
        let read: Question = serde_json::from_str(question.get()).map_err(|error| {
            let named =
                serde_json::from_str(question.get()).map_or_else(|_| "?".to_owned(), |Named { id }| id);
            let error =
                anyhow!("section '{id}': question '{named}' is none, counted from its first line: {error}");
            SourceError(error.into())
        })?;
        let proven =
            read.verify().map_err(|source| PoolError::Proof { section: id.clone(), source: source.into() });
        proven.map(|item| Some(Cow::Owned(item))).map_err(told)
    }
}

impl ItemSource for PoolFile {
    fn id(&self) -> &str {
        &self.pool.id
    }

    fn title(&self) -> &str {
        &self.pool.title
    }

    fn locale(&self) -> &str {
        &self.pool.locale
    }

    fn sections(&self) -> Vec<SectionHead> {
        self.pool.sections.iter().map(|(head, _)| head.clone()).collect()
    }

    fn visit<'s>(&'s self, each: &mut Visit<'s, '_>) -> Result<(), SourceError> {
        let changed = || anyhow!("{} has changed while it was read", self.path.display());
        let mut ended = false;
        let again = go_through(&self.path, &self.bar, &mut |section, question: Box<RawValue>| {
            // A file that has changed may have more sections; the comparison at its end tells.
            if section < self.pool.sections.len() {
                let question = Unproven::new(move || self.prove(section, &question));
                ended = each(section, question) == ControlFlow::Break(());
            }
            if ended { Err(None) } else { Ok(()) }
        });
        match again {
            _ if ended => Ok(()),
            Ok(again) if again == self.pool => Ok(()),
            Ok(_) => Err(SourceError(changed().into())),
            Err(error) => Err(SourceError(error.into())),
        }
    }
}

/// The ids of a pool, each of which must be there once.
#[derive(Default)]
struct Ids(HashSet<Fingerprint>);

impl Ids {
    fn add(&mut self, id: &str) -> Result<(), PoolError> {
        let new = is_plain_id(id) && self.0.insert(Fingerprint::of(id));
        if new { Ok(()) } else { Err(PoolError::BadId(id.to_owned())) }
    }

    /// The rest of what makes a pool; see [`qbank::pool::Pool::new`].
    fn check(mut self, pool: &Heads) -> anyhow::Result<()> {
        for id in pool.sections.iter().map(|(section, _)| &section.id).chain([&pool.id]) {
            self.add(id)?;
        }
        for (SectionHead { id, pick, .. }, items) in &pool.sections {
            if *pick == 0 || pick > items {
                let items = *items as usize;
                return Err(PoolError::TooFew { section: id.clone(), items, pick: *pick }.into());
            }
        }
        ensure!(!pool.sections.is_empty(), PoolError::Empty);
        Ok(())
    }
}

/// What is done with each question, read as far as `Q` wants it; the first failure ends the reading, with or without a reason.
type Each<'e, Q> = dyn FnMut(usize, Q) -> Result<(), Option<PoolError>> + 'e;

fn go_through<Q: for<'de> Deserialize<'de>>(
    path: &Path,
    bar: &ProgressBar,
    each: &mut Each<'_, Q>,
) -> anyhow::Result<Heads> {
    let file = File::open(path).context("it cannot be read")?;
    let failure = RefCell::new(None);
    let mut json = serde_json::Deserializer::from_reader(BufReader::new(bar.wrap_read(file)));
    let read = PoolSeed { each, failure: &failure }.deserialize(&mut json).and_then(|pool| {
        json.end()?;
        Ok(pool)
    });
    // What a question lacks says more than that reading was ended for it.
    match failure.into_inner().flatten() {
        Some(failure) => Err(failure.into()),
        None => read.map_err(|error| PoolError::Malformed(error).into()),
    }
}

/// Reads a pool.
struct PoolSeed<'s, 'e, Q> {
    each: &'s mut Each<'e, Q>,
    failure: &'s RefCell<Option<Option<PoolError>>>,
}

/// Reads its sections.
struct SectionsSeed<'s, 'e, Q>(PoolSeed<'s, 'e, Q>);

/// Reads the section of this number.
struct SectionSeed<'s, 'e, Q>(PoolSeed<'s, 'e, Q>, usize);

/// Reads the questions of a section, and counts them.
struct QuestionsSeed<'s, 'e, Q>(PoolSeed<'s, 'e, Q>, usize);

impl<'e, Q> PoolSeed<'_, 'e, Q> {
    fn again(&mut self) -> PoolSeed<'_, 'e, Q> {
        PoolSeed { each: self.each, failure: self.failure }
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> DeserializeSeed<'de> for PoolSeed<'_, '_, Q> {
    type Value = Heads;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Heads, D::Error> {
        deserializer.deserialize_map(self)
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> Visitor<'de> for PoolSeed<'_, '_, Q> {
    type Value = Heads;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a pool")
    }

    fn visit_map<M: MapAccess<'de>>(mut self, mut map: M) -> Result<Heads, M::Error> {
        let (mut id, mut title, mut locale, mut sections) = (None, None, None, None);
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "id" => id = Some(map.next_value()?),
                "title" => title = Some(map.next_value()?),
                "locale" => locale = Some(map.next_value()?),
                "sections" => sections = Some(map.next_value_seed(SectionsSeed(self.again()))?),
                _ => drop(map.next_value::<IgnoredAny>()?),
            }
        }
        Ok(Heads {
            id: required("id", id)?,
            title: required("title", title)?,
            locale: required("locale", locale)?,
            sections: required("sections", sections)?,
        })
    }
}

fn required<T, E: de::Error>(name: &'static str, value: Option<T>) -> Result<T, E> {
    value.ok_or_else(|| E::missing_field(name))
}

impl<'de, Q: for<'q> Deserialize<'q>> DeserializeSeed<'de> for SectionsSeed<'_, '_, Q> {
    type Value = Vec<(SectionHead, u32)>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> Visitor<'de> for SectionsSeed<'_, '_, Q> {
    type Value = Vec<(SectionHead, u32)>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the sections of a pool")
    }

    fn visit_seq<S: SeqAccess<'de>>(mut self, mut seq: S) -> Result<Self::Value, S::Error> {
        let mut sections = Vec::new();
        while let Some(section) = seq.next_element_seed(SectionSeed(self.0.again(), sections.len()))? {
            sections.push(section);
        }
        Ok(sections)
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> DeserializeSeed<'de> for SectionSeed<'_, '_, Q> {
    type Value = (SectionHead, u32);

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(SectionHead, u32), D::Error> {
        deserializer.deserialize_map(self)
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> Visitor<'de> for SectionSeed<'_, '_, Q> {
    type Value = (SectionHead, u32);

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a section")
    }

    fn visit_map<M: MapAccess<'de>>(mut self, mut map: M) -> Result<(SectionHead, u32), M::Error> {
        let mut head = SectionHead { id: String::new(), title: String::new(), pick: 0 };
        let mut questions = 0;
        let mut missing = vec!["id", "title", "pick", "questions"];
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "id" => head.id = map.next_value()?,
                "title" => head.title = map.next_value()?,
                "pick" => head.pick = map.next_value()?,
                "questions" => questions = map.next_value_seed(QuestionsSeed(self.0.again(), self.1))?,
                _ => drop(map.next_value::<IgnoredAny>()?),
            }
            missing.retain(|name| *name != key);
        }
        match missing.first() {
            Some(name) => Err(de::Error::missing_field(name)),
            None => Ok((head, questions)),
        }
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> DeserializeSeed<'de> for QuestionsSeed<'_, '_, Q> {
    type Value = u32;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<u32, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de, Q: for<'q> Deserialize<'q>> Visitor<'de> for QuestionsSeed<'_, '_, Q> {
    type Value = u32;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the questions of a section")
    }

    fn visit_seq<S: SeqAccess<'de>>(self, mut seq: S) -> Result<u32, S::Error> {
        let mut count = 0;
        while let Some(question) = seq.next_element::<Q>()? {
            count += 1;
            (self.0.each)(self.1, question).map_err(|error| {
                self.0.failure.replace(Some(error));
                <S::Error as de::Error>::custom("a question is at fault")
            })?;
        }
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use qbank::{
        bank,
        pool::{Pool, Section},
    };

    fn pool() -> Pool {
        let section = |name: &str| Section {
            id: name.into(),
            title: format!("Section {name}"),
            pick: 2,
            items: bank::family(name)
                .unwrap()
                .draws("pool file", 0, "en-US")
                .take(3)
                .map(Result::unwrap)
                .collect(),
        };
        let sections = vec![section("add-ragged"), section("compare-thousandths")];
        Pool::new("river-day".into(), "River day".into(), "en-US".into(), sections).unwrap()
    }

    /// Opens a file and proves all that is in it.
    fn proven(json: &str) -> anyhow::Result<()> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pool.json");
        std::fs::write(&path, json).unwrap();
        let file = PoolFile::open(&path, ProgressBar::hidden())?;
        let mut failed = Ok(());
        file.visit(&mut |_, question| {
            failed = question.prove().map(drop);
            if failed.is_ok() { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
        })?;
        Ok(failed?)
    }

    #[test]
    fn hands_out_the_same_items_as_the_whole_pool_each_time() {
        let pool = pool();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pool.json");
        std::fs::write(&path, pool.to_json()).unwrap();
        let file = PoolFile::open(&path, ProgressBar::hidden()).unwrap();
        assert_eq!((file.id(), file.title(), file.locale()), (pool.id(), pool.title(), pool.locale()));
        assert_eq!((file.sections(), file.items()), (ItemSource::sections(&pool), 6));
        for _ in 0..2 {
            let mut items = Vec::new();
            let visited = file.visit(&mut |section, question| {
                items.push((section, question.prove().unwrap().unwrap().into_owned()));
                ControlFlow::Continue(())
            });
            visited.unwrap();
            let expected = pool.sections.iter().enumerate();
            let expected = expected
                .flat_map(|(index, section)| section.items.iter().map(move |item| (index, item.clone())));
            assert_eq!(items, expected.collect::<Vec<_>>());
        }
        std::fs::write(&path, pool.to_json().replace("River day", "River night")).unwrap();
        let changed = file.visit(&mut |_, _| ControlFlow::Continue(())).unwrap_err();
        assert!(changed.to_string().ends_with("has changed while it was read"), "{changed}");
    }

    #[test]
    fn refuses_what_the_whole_pool_refuses() {
        let json = pool().to_json();
        let id = pool().sections[0].items[0].id.clone();
        let other = pool().sections[0].items[1].id.clone();
        let answer = pool().sections[1].items[2].receipt.clone();
        for (broken, said) in [
            (
                json.replace("\"pick\": 2", "\"pick\": 4"),
                "section 'add-ragged' has 3 questions; a test draws 4",
            ),
            (json.replace("\"id\": \"river-day\"", "\"id\": \"river day\""), "'river day' is no usable id"),
            (json.replace("\"id\": \"river-day\"", "\"id\": \"add-ragged\""), "'add-ragged' is no usable id"),
            (json.replace(&answer, "sha256:00"), "section 'compare-thousandths': question '"),
            (
                json.replace("\"locale\": \"en-US\",\n  \"sections\"", "\"sections\""),
                "missing field `locale`",
            ),
            (json.replace("\"pick\": 2,", ""), "missing field `pick`"),
            (format!("{json} x"), "not a pool file: trailing characters"),
            (json[..json.len() / 2].to_owned(), "not a pool file: EOF"),
            (json.replace(other.as_str(), &id), "is no usable id"),
            (
                "{\"id\":\"p\",\"title\":\"\",\"locale\":\"en-US\",\"sections\":[]}".into(),
                "at least one section",
            ),
        ] {
            let streamed = format!("{:#}", proven(&broken).unwrap_err());
            assert!(streamed.contains(said), "{said}: {streamed}");
            assert!(Pool::from_json(&broken).is_err(), "{said}");
        }
    }
}

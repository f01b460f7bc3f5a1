//! A pool file that is never held whole: its questions are read, proven and handed on one by one.
//!
//! A pool of a hundred thousand questions takes gigabytes once it is read. What is written from it needs one question
//! at a time, if several times over; so the file is read anew each time, and every question is proven each time.
//! Opening goes through the whole file once, so that a file at fault is refused before anything is written.
use std::{
    cell::RefCell,
    collections::HashSet,
    fmt,
    fs::File,
    io::BufReader,
    path::{Path, PathBuf},
};

use anyhow::{Context, ensure};
use exporters::{
    archive::Fingerprint,
    source::{ItemSource, SectionHead, SourceError, Visit},
};
use indicatif::ProgressBar;
use qbank::{
    pool::PoolError,
    question::{Item, Question, is_plain_id},
};
use serde::de::{self, DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

/// A pool file whose every question was proven when it was opened.
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
    sections: Vec<SectionHead>,
}

impl PoolFile {
    /// Opens a file and proves it. `bar` counts the bytes that are read, this time and later.
    ///
    /// # Errors
    /// If the file cannot be read, is no pool, or a question in it cannot be proven.
    pub(crate) fn open(path: &Path, bar: ProgressBar) -> anyhow::Result<Self> {
        let mut ids = Ids::default();
        let pool = go_through(path, &bar, &mut |_, item| ids.add(&item.id))
            .and_then(|pool| ids.check(&pool).map(|()| pool))
            .with_context(|| path.display().to_string())?;
        Ok(Self { path: path.to_owned(), bar, pool })
    }

    /// How many questions it holds.
    pub(crate) fn items(&self) -> u64 {
        self.pool.sections.iter().map(|section| u64::from(section.items)).sum()
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
        self.pool.sections.clone()
    }

    fn visit(&self, each: &mut Visit<'_>) -> Result<(), SourceError> {
        let again = go_through(&self.path, &self.bar, &mut |section, item| {
            each(section, item);
            Ok(())
        });
        let same = again.and_then(|again| {
            ensure!(again == self.pool, "{} has changed while it was read", self.path.display());
            Ok(())
        });
        same.map_err(|error| SourceError(error.into()))
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
        for id in pool.sections.iter().map(|section| &section.id).chain([&pool.id]) {
            self.add(id)?;
        }
        for SectionHead { id, items, pick, .. } in &pool.sections {
            if *pick == 0 || pick > items {
                let items = *items as usize;
                return Err(PoolError::TooFew { section: id.clone(), items, pick: *pick }.into());
            }
        }
        ensure!(!pool.sections.is_empty(), PoolError::Empty);
        Ok(())
    }
}

/// What is done with each item; the first failure ends the reading.
type Each<'e> = dyn FnMut(usize, &Item) -> Result<(), PoolError> + 'e;

fn go_through(path: &Path, bar: &ProgressBar, each: &mut Each<'_>) -> anyhow::Result<Heads> {
    let file = File::open(path).context("it cannot be read")?;
    let failure = RefCell::new(None);
    let mut json = serde_json::Deserializer::from_reader(BufReader::new(bar.wrap_read(file)));
    let read = PoolSeed { each, failure: &failure }.deserialize(&mut json).and_then(|pool| {
        json.end()?;
        Ok(pool)
    });
    // What a question lacks says more than that reading was ended for it.
    match failure.into_inner() {
        Some(failure) => Err(failure.into()),
        None => read.map_err(|error| PoolError::Malformed(error).into()),
    }
}

/// Reads a pool.
struct PoolSeed<'s, 'e> {
    each: &'s mut Each<'e>,
    failure: &'s RefCell<Option<PoolError>>,
}

/// Reads its sections.
struct SectionsSeed<'s, 'e>(PoolSeed<'s, 'e>);

/// Reads the section of this number.
struct SectionSeed<'s, 'e>(PoolSeed<'s, 'e>, usize);

/// Reads the questions of a section that is known so far.
struct QuestionsSeed<'s, 'e>(PoolSeed<'s, 'e>, usize, &'s mut SectionHead);

impl<'e> PoolSeed<'_, 'e> {
    fn again(&mut self) -> PoolSeed<'_, 'e> {
        PoolSeed { each: self.each, failure: self.failure }
    }

    /// Proves a question and hands it on.
    fn prove<E: de::Error>(
        &mut self,
        index: usize,
        section: &mut SectionHead,
        question: Question,
    ) -> Result<(), E> {
        let proven = question
            .verify()
            .map_err(|source| PoolError::Proof { section: section.id.clone(), source: Box::new(source) });
        let done = proven.and_then(|item| {
            section.count(&item);
            (self.each)(index, &item)
        });
        done.map_err(|error| {
            self.failure.replace(Some(error));
            E::custom("a question is at fault")
        })
    }
}

impl<'de> DeserializeSeed<'de> for PoolSeed<'_, '_> {
    type Value = Heads;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Heads, D::Error> {
        deserializer.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for PoolSeed<'_, '_> {
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

impl<'de> DeserializeSeed<'de> for SectionsSeed<'_, '_> {
    type Value = Vec<SectionHead>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for SectionsSeed<'_, '_> {
    type Value = Vec<SectionHead>;

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

impl<'de> DeserializeSeed<'de> for SectionSeed<'_, '_> {
    type Value = SectionHead;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<SectionHead, D::Error> {
        deserializer.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for SectionSeed<'_, '_> {
    type Value = SectionHead;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a section")
    }

    fn visit_map<M: MapAccess<'de>>(mut self, mut map: M) -> Result<SectionHead, M::Error> {
        let mut head = SectionHead::new(String::new(), String::new(), 0);
        let mut missing = vec!["id", "title", "pick", "questions"];
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "id" => head.id = map.next_value()?,
                "title" => head.title = map.next_value()?,
                "pick" => head.pick = map.next_value()?,
                "questions" => map.next_value_seed(QuestionsSeed(self.0.again(), self.1, &mut head))?,
                _ => drop(map.next_value::<IgnoredAny>()?),
            }
            missing.retain(|name| *name != key);
        }
        match missing.first() {
            Some(name) => Err(de::Error::missing_field(name)),
            None => Ok(head),
        }
    }
}

impl<'de> DeserializeSeed<'de> for QuestionsSeed<'_, '_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for QuestionsSeed<'_, '_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the questions of a section")
    }

    fn visit_seq<S: SeqAccess<'de>>(mut self, mut seq: S) -> Result<(), S::Error> {
        while let Some(question) = seq.next_element::<Question>()? {
            self.0.prove(self.1, self.2, question)?;
        }
        Ok(())
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

    fn opened(json: &str) -> anyhow::Result<PoolFile> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("pool.json");
        std::fs::write(&path, json).unwrap();
        let file = PoolFile::open(&path, ProgressBar::hidden())?;
        // The heads must not need the file any more.
        Ok(PoolFile { path, ..file })
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
            file.visit(&mut |section, item| items.push((section, item.clone()))).unwrap();
            let expected = pool.sections.iter().enumerate();
            let expected = expected
                .flat_map(|(index, section)| section.items.iter().map(move |item| (index, item.clone())));
            assert_eq!(items, expected.collect::<Vec<_>>());
        }
        std::fs::write(&path, pool.to_json().replace("River day", "River night")).unwrap();
        let changed = file.visit(&mut |_, _| {}).unwrap_err();
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
            (json.replace(&other, &id), "question '"),
            (
                "{\"id\":\"p\",\"title\":\"\",\"locale\":\"en-US\",\"sections\":[]}".into(),
                "at least one section",
            ),
        ] {
            let streamed = format!("{:#}", opened(&broken).unwrap_err());
            assert!(streamed.contains(said), "{said}: {streamed}");
            assert!(Pool::from_json(&broken).is_err(), "{said}");
        }
    }
}

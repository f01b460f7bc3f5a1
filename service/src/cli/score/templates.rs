//! Questions whose numbers a platform drew itself: result reports name the template and what was drawn.
use std::collections::{BTreeMap, btree_map::Entry};

use exporters::{
    qti::{
        Solution,
        template::{Template, item_name, map_family, reference_name},
    },
    results::ItemResult,
};
use qbank::{family::Family, pool::Pool, question::Item};

use super::super::bank::BankArguments;

/// The templates that can stand for sections of a pool.
pub(super) struct Templates<'a> {
    bank: &'a BankArguments,
    locale: String,
    /// By every name that a report may give: the item's own, or what the test calls it.
    origins: BTreeMap<String, Origin>,
    /// Mapped when first met: most reports have none.
    mapped: BTreeMap<Origin, Result<(Family, Template), String>>,
}

/// What a template stands for.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Origin {
    family: String,
    version: u32,
}

impl<'a> Templates<'a> {
    pub(super) fn of(pool: &Pool, bank: &'a BankArguments) -> Self {
        let mut origins = BTreeMap::new();
        for section in &pool.sections {
            let of = |item: &Item| Origin { family: item.family.to_string(), version: item.version };
            let Some(origin) = section.items.first().map(of) else { continue };
            if section.items.iter().any(|item| of(item) != origin) {
                continue;
            }
            origins.insert(item_name(&origin.family, origin.version, &pool.locale), origin.clone());
            let names = (1..=section.pick).map(|number| reference_name(&section.id, number));
            origins.extend(names.map(|name| (name, origin.clone())));
        }
        Self { bank, locale: pool.locale.clone(), origins, mapped: BTreeMap::new() }
    }

    /// Whether a template is called so.
    pub(super) fn has(&self, name: &str) -> bool {
        self.origins.contains_key(name)
    }

    /// The question that the platform asked, under the name that the report gives it, or why that cannot be told.
    pub(super) fn question(&mut self, result: &ItemResult) -> Result<Item, String> {
        let origin = self.origins.get(&result.identifier).ok_or("no template is called so")?;
        let mapped = match self.mapped.entry(origin.clone()) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => new.insert(map(self.bank, origin, &self.locale)),
        };
        let (family, template) = mapped.as_ref().map_err(Clone::clone)?;
        let drawn = result.templates.iter();
        let variables = drawn.filter_map(|variable| match &variable.values[..] {
            [value] => Some((variable.identifier.as_str(), value.as_str())),
            _ => None,
        });
        template.question(family, &self.locale, &variables.collect()).map_err(|error| error.to_string())
    }
}

fn map(bank: &BankArguments, origin: &Origin, locale: &str) -> Result<(Family, Template), String> {
    let Origin { family: name, version } = origin;
    let family = bank.family(name).map_err(|error| format!("{error:#}"))?;
    if family.version != *version {
        return Err(format!(
            "the family '{name}' is at hand in version {}, the pool has version {version}",
            family.version
        ));
    }
    // Solutions and attempts change nothing in what is drawn.
    let template = map_family(&family, locale, Solution::Withheld, 1);
    let template = template.map_err(|refusal| format!("the family '{name}' has no template: {refusal}"))?;
    Ok((family, template))
}

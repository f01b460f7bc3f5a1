//! A family's texts with variables in their slots.
use std::collections::BTreeMap;

use qbank::{
    decimal::Decimal,
    family::{SlotForm, slots},
    units,
};

use super::{
    Mapping, Refusal,
    givens::text,
    integer::{Test, ten},
};
use crate::qti::{
    model::{BaseType, Identifier, Inline, PrintedVariable},
    processing::Expression,
};

/// What is told.
#[derive(Default)]
pub(super) struct Told {
    /// The prompts, by step.
    pub(super) prompts: BTreeMap<String, Vec<Inline>>,
}

impl Mapping<'_> {
    /// Tells one story, the first that a template can tell, and the prompts.
    pub(super) fn tell(&mut self) -> Result<(), Refusal> {
        let family = self.family;
        let texts = family
            .texts
            .get(self.locale)
            .ok_or_else(|| Refusal::Locale { locale: self.locale.to_owned() })?;
        for (step, prompt) in &texts.prompts {
            let told = self.told(prompt, &texts.words)?;
            self.told.prompts.insert(step.to_string(), told);
        }
        let mut refused = None;
        for stem in &texts.stems {
            match self.told(stem, &texts.words) {
                Ok(told) => {
                    self.item.body.push(super::paragraph(told));
                    return Ok(());
                }
                Err(refusal) => refused = Some(refusal),
            }
        }
        refused.map_or(Ok(()), Err)
    }

    fn told(&mut self, written: &str, words: &BTreeMap<String, Vec<String>>) -> Result<Vec<Inline>, Refusal> {
        let slots = slots(written).expect("the checker has read all slots");
        // Refused before anything of the text is declared.
        for slot in &slots {
            let number = self.names.contains_key(slot.name);
            match slot.form {
                SlotForm::Words => return Err(Refusal::Words),
                SlotForm::Article if number => {
                    return Err(Refusal::Slot { slot: written[slot.span.0..slot.span.1].to_owned() });
                }
                _ => {}
            }
        }
        let mut told = Vec::new();
        let mut from = 0;
        for slot in &slots {
            push(&mut told, &written[from..slot.span.0]);
            from = slot.span.1;
            if self.names.contains_key(slot.name) {
                self.number(slot.name, &slot.form, &mut told)?;
            } else {
                if slot.form == SlotForm::Article {
                    return Err(Refusal::Slot { slot: written[slot.span.0..slot.span.1].to_owned() });
                }
                let list = words.get(slot.list()).map_or(&[][..], Vec::as_slice);
                told.push(self.word(slot.name, slot.number(), list)?);
            }
        }
        push(&mut told, &written[from..]);
        Ok(told)
    }

    fn number(&mut self, name: &str, form: &SlotForm<'_>, told: &mut Vec<Inline>) -> Result<(), Refusal> {
        let given = self.family.givens.iter().find(|given| given.name == name);
        let unit = given.and_then(|given| given.unit.as_deref());
        match form {
            SlotForm::Agreeing { one, other } => {
                let number = self.names[name].clone();
                match number.units.is(ten(number.places)) {
                    Test::Certain(true) => push(told, one),
                    Test::Certain(false) => push(told, other),
                    // The other word is enough, if one thing alone is never drawn.
                    singular @ Test::Open { .. } => {
                        self.demand(&singular.not())?;
                        push(told, other);
                    }
                }
            }
            SlotForm::Number => told.push(self.printed(name)),
            _ => told.extend(self.with_unit(name, unit)),
        }
        Ok(())
    }

    pub(super) fn printed(&self, name: &str) -> Inline {
        let places = self.names[name].places;
        Inline::Printed(PrintedVariable { identifier: self.floats[name].clone(), places: Some(places) })
    }

    /// A number with its unit, as [`units::printed`] has it.
    pub(super) fn with_unit(&self, name: &str, unit: Option<&str>) -> Vec<Inline> {
        let (before, after) = around(unit);
        let mut told = Vec::new();
        push(&mut told, &before);
        told.push(self.printed(name));
        push(&mut told, &after);
        told
    }

    /// One word of a list. Each slot draws from a part of the list of its own, so that no two are the same.
    fn word(&mut self, name: &str, number: usize, list: &[String]) -> Result<Inline, Refusal> {
        const SLOTS: usize = 3;
        let variable = Identifier::new(&format!("WORD_{name}"))?;
        let part: Vec<&String> = list.iter().skip(number - 1).step_by(SLOTS.min(list.len()).max(1)).collect();
        let declared = self.program.declares(&variable);
        if !declared {
            let words = part.iter().map(|word| text(word)).collect();
            let drawn = Expression::Random(Box::new(Expression::Multiple(words)));
            self.program.set(&variable, BaseType::String, drawn);
        }
        Ok(Inline::Printed(PrintedVariable { identifier: variable, places: None }))
    }
}

/// What stands before and after a number with this unit.
pub(super) fn around(unit: Option<&str>) -> (String, String) {
    let one = units::printed(&Decimal::from(1), unit);
    one.split_once('1').map_or_else(Default::default, |(before, after)| (before.to_owned(), after.to_owned()))
}

fn push(told: &mut Vec<Inline>, text: &str) {
    if !text.is_empty() {
        told.push(text.into());
    }
}

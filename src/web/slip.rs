//! A slip: what is filled in on a page to log one record. Its fields are named as the API
//! names them; what was typed, what is wrong and what was refused stand on it again.

use super::page::{Form, Visit};
use super::typed::sentence;

/// How a shop writes its units beside a field.
#[derive(Clone, Debug, Default)]
pub struct Symbols {
    /// `kg` or `lb`.
    pub mass: &'static str,
    /// `°C` or `°F`.
    pub temperature: &'static str,
    /// `mm` or `in`.
    pub length: &'static str,
    /// The currency.
    pub money: String,
}

/// How a field is filled in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum How {
    /// One line.
    Text,
    /// A number.
    Number,
    /// Several lines.
    Long,
    /// A day.
    Day,
    /// A time of the shop's clock.
    Time,
    /// One of few, each a target of its own.
    One,
    /// One of many.
    List,
    /// Any of some.
    Ticks,
    /// Not seen.
    Hidden,
}

/// One of what may be chosen.
#[derive(Clone, Debug)]
pub struct Choice {
    /// As the API has it.
    pub value: String,
    /// In words.
    pub words: String,
    /// What else is known of it.
    pub aside: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

/// One field.
#[derive(Clone, Debug)]
pub struct Field {
    /// As the API names it.
    pub name: String,
    /// As a caster calls it.
    pub label: String,
    /// How it is filled in.
    pub how: How,
    /// What stands in it.
    pub value: String,
    /// What may be chosen, or is proposed.
    pub choices: Vec<Choice>,
    /// A line below it.
    pub hint: String,
    /// What is wrong with it.
    pub fault: String,
    /// Whether it must be filled in.
    pub need: bool,
    /// Whether it stands among those that are seldom needed.
    pub more: bool,
    /// What it is assumed to be, where what stands in it was proposed and nobody need have
    /// looked at it: left as it is, it is recorded as assumed.
    pub assumed: String,
    /// Whether the record has something there.
    pub had: bool,
    /// Its id on the page.
    pub id: String,
}

impl Field {
    /// A field by its name, label and how it is filled in.
    #[must_use]
    pub fn new(name: &str, label: &str, how: How) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            how,
            value: String::new(),
            choices: Vec::new(),
            hint: String::new(),
            fault: String::new(),
            need: false,
            more: false,
            assumed: String::new(),
            had: false,
            id: String::new(),
        }
    }
    /// One line of text.
    #[must_use]
    pub fn text(name: &str, label: &str) -> Self {
        Self::new(name, label, How::Text)
    }
    /// A number.
    #[must_use]
    pub fn number(name: &str, label: &str) -> Self {
        Self::new(name, label, How::Number)
    }
    /// What is not seen.
    #[must_use]
    pub fn hidden(name: &str, value: &str) -> Self {
        Self::new(name, "", How::Hidden).with(value)
    }
    /// One of few.
    #[must_use]
    pub fn one(name: &str, label: &str, choices: &[(&str, &str)]) -> Self {
        Self::new(name, label, How::One).among(choices)
    }
    /// One of many.
    #[must_use]
    pub fn list(name: &str, label: &str, choices: &[(&str, &str)]) -> Self {
        Self::new(name, label, How::List).among(choices)
    }
    /// When it happened: now, unless said.
    #[must_use]
    pub fn at() -> Self {
        Self::new("at", "When", How::Time).hint("Now, unless said otherwise.").more()
    }
    /// What may be chosen or is proposed: value and words.
    #[must_use]
    pub fn among(mut self, choices: &[(&str, &str)]) -> Self {
        self.choices.extend(choices.iter().map(|(value, words)| Choice {
            value: (*value).to_owned(),
            words: (*words).to_owned(),
            aside: String::new(),
            chosen: false,
        }));
        self
    }
    /// Further choices, as they are.
    #[must_use]
    pub fn of(mut self, choices: impl IntoIterator<Item = Choice>) -> Self {
        self.choices.extend(choices);
        self
    }
    /// Names proposed while one types.
    #[must_use]
    pub fn proposing<T: AsRef<str>>(mut self, names: impl IntoIterator<Item = T>) -> Self {
        self.choices.extend(names.into_iter().map(|name| Choice {
            value: name.as_ref().to_owned(),
            words: name.as_ref().to_owned(),
            aside: String::new(),
            chosen: false,
        }));
        self
    }
    /// With what stands in it unless something else was typed.
    #[must_use]
    pub fn with(mut self, value: impl Into<String>) -> Self {
        self.value = value.into();
        self
    }
    /// With a line below it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }
    /// That must be filled in.
    #[must_use]
    pub const fn need(mut self) -> Self {
        self.need = true;
        self
    }
    /// That is seldom needed.
    #[must_use]
    pub const fn more(mut self) -> Self {
        self.more = true;
        self
    }
    /// That is assumed unless something else is said.
    #[must_use]
    pub fn assume(mut self, value: impl Into<String>) -> Self {
        self.value = value.into();
        self.assumed.clone_from(&self.value);
        self
    }
    /// How it is filled in, for the template.
    #[must_use]
    pub const fn is(&self, how: How) -> bool {
        matches!(
            (self.how, how),
            (How::Text, How::Text)
                | (How::Number, How::Number)
                | (How::Long, How::Long)
                | (How::Day, How::Day)
                | (How::Time, How::Time)
                | (How::One, How::One)
                | (How::List, How::List)
                | (How::Ticks, How::Ticks)
                | (How::Hidden, How::Hidden)
        )
    }
    /// The type of an input of one line.
    #[must_use]
    pub const fn input_type(&self) -> &'static str {
        match self.how {
            How::Day => "date",
            How::Time => "datetime-local",
            _ => "text",
        }
    }
    /// Whether it stands by itself in a fieldset.
    #[must_use]
    pub const fn grouped(&self) -> bool {
        matches!(self.how, How::One | How::Ticks)
    }
    /// What describes it, by id.
    #[must_use]
    pub fn described(&self) -> String {
        let hint = (!self.hint.is_empty()).then(|| format!("{}-hint", self.id));
        let fault = (!self.fault.is_empty()).then(|| format!("{}-fault", self.id));
        hint.into_iter().chain(fault).collect::<Vec<_>>().join(" ")
    }
}

/// What was refused although another word would have it taken.
#[derive(Clone, Debug, Default)]
pub struct Refused {
    /// Why.
    pub why: String,
    /// What to say, as the API has it; empty where nothing helps.
    pub codes: Vec<String>,
    /// What saying it means, in plain words: the words of the button.
    pub words: String,
}

/// One record to be logged from a page.
#[derive(Clone, Debug)]
pub struct Slip {
    /// Where it goes, below `/v1`: `castings/7K2QD/cut-off`.
    pub to: String,
    /// Its id on the page.
    pub id: String,
    /// The words of its button.
    pub button: String,
    /// What is said once it is recorded.
    pub said: String,
    /// Its fields.
    pub fields: Vec<Field>,
    /// The page it stands on.
    pub from: String,
    /// The page to go to when it is recorded.
    pub back: String,
    /// Makes sure that it is recorded once.
    pub key: String,
    /// The etag of the record it corrects; empty where it makes one.
    pub corrects: String,
    /// What is wrong that belongs to none of its fields.
    pub faults: Vec<String>,
    /// Whether it was refused.
    pub refused: Option<Refused>,
    /// Refusals already answered.
    pub despite: Vec<String>,
    /// Whether its button is one of the page's main actions.
    pub main: bool,
    symbols: Symbols,
    typed: Option<Form>,
    wrong: Vec<(String, String)>,
}

impl Visit {
    /// A slip for this visitor: where it goes (below `/v1`), the words of its button, a key
    /// that has not been used.
    #[must_use]
    pub fn slip(&self, to: impl Into<String>, button: &str, key: impl ToString, symbols: &Symbols) -> Slip {
        let to = to.into();
        let id: String = to.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
        let here = if self.query.0.is_empty() { self.path.clone() } else { format!("{}?{}", self.path, self.query.encoded()) };
        let mut slip = Slip {
            id: format!("slip-{id}"),
            button: button.to_owned(),
            said: String::new(),
            fields: Vec::new(),
            back: here.clone(),
            from: here,
            key: key.to_string(),
            corrects: String::new(),
            faults: Vec::new(),
            refused: None,
            despite: Vec::new(),
            main: false,
            symbols: symbols.clone(),
            typed: None,
            wrong: Vec::new(),
            to,
        };
        slip.again(self, "");
        slip
    }
}

impl Slip {
    /// Takes up what was typed on it before, when it was this one that came back.
    fn again(&mut self, visit: &Visit, name: &str) {
        let mine = visit.form.get("_to") == self.to && visit.form.get("_name") == name;
        if !mine || self.to.is_empty() {
            return;
        }
        // The key stays: what reached the book after all is not recorded twice.
        visit.form.get("_key").clone_into(&mut self.key);
        self.typed = Some(visit.form.clone());
        self.wrong.clone_from(&visit.faults);
        self.refused.clone_from(&visit.refused);
        self.despite = visit.form.all("_despite").map(str::to_owned).collect();
    }
    /// A name of its own, where several slips of a page go to one place.
    #[must_use]
    pub fn named(mut self, visit: &Visit, name: &str) -> Self {
        (self.typed, self.refused) = (None, None);
        (self.wrong, self.despite) = (Vec::new(), Vec::new());
        self.id = format!("{}-{name}", self.id);
        self.again(visit, name);
        self.fields.push(Field::hidden("_name", name));
        self
    }
    /// With a field. What was typed in it before stands in it again.
    #[must_use]
    pub fn field(mut self, mut field: Field) -> Self {
        field.id = format!("{}-{}", self.id, field.name.replace(['.', '_'], "-"));
        field.had = !field.value.is_empty();
        if let Some(typed) = &self.typed
            && field.how != How::Hidden
        {
            let said: Vec<&str> = typed.all(&field.name).collect();
            typed.get(&field.name).clone_into(&mut field.value);
            for choice in &mut field.choices {
                choice.chosen = said.contains(&choice.value.as_str());
            }
        } else if !field.value.is_empty() && field.how != How::Ticks {
            for choice in &mut field.choices {
                choice.chosen = choice.value == field.value;
            }
        }
        if let Some(at) = self.wrong.iter().position(|(name, _)| *name == field.name) {
            field.fault = self.wrong.remove(at).1;
        }
        let unit = match field.name.rsplit('.').find(|part| part.parse::<usize>().is_err()).unwrap_or("") {
            name if name.ends_with("_kg") => self.symbols.mass,
            name if name.ends_with("_mm") => self.symbols.length,
            name if name.ends_with("_c") => self.symbols.temperature,
            name if name.ends_with("_minor") => self.symbols.money.as_str(),
            _ => "",
        };
        if !unit.is_empty() && !field.label.is_empty() {
            field.label = format!("{}, {unit}", field.label);
        }
        self.fields.push(field);
        self
    }
    /// With several fields.
    #[must_use]
    pub fn fields(self, fields: impl IntoIterator<Item = Field>) -> Self {
        fields.into_iter().fold(self, Self::field)
    }
    /// With a number.
    #[must_use]
    pub fn number(self, name: &str, label: &str) -> Self {
        self.field(Field::number(name, label))
    }
    /// As one of the page's main actions.
    #[must_use]
    pub const fn main(mut self) -> Self {
        self.main = true;
        self
    }
    /// What is said once it is recorded.
    #[must_use]
    pub fn saying(mut self, said: impl Into<String>) -> Self {
        self.said = said.into();
        self
    }
    /// Where to go once it is recorded.
    #[must_use]
    pub fn then(mut self, back: impl Into<String>) -> Self {
        self.back = back.into();
        self
    }
    /// As a correction of the record with that etag.
    #[must_use]
    pub fn correcting(mut self, etag: &str) -> Self {
        etag.clone_into(&mut self.corrects);
        self
    }
    /// Whether something on it is wrong or was refused.
    #[must_use]
    pub fn is_faulty(&self) -> bool {
        self.refused.is_some()
            || !self.wrong.is_empty()
            || !self.faults.is_empty()
            || self.fields.iter().any(|f| !f.fault.is_empty())
    }
    /// What is wrong that belongs to none of its fields.
    #[must_use]
    pub fn general(&self) -> Vec<String> {
        self.faults.iter().cloned().chain(self.wrong.iter().map(|(_, said)| sentence(said))).collect()
    }
    /// Fields seen at once.
    pub fn first(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|f| f.how != How::Hidden && !f.more)
    }
    /// Fields seldom needed.
    #[must_use]
    pub fn rest(&self) -> Vec<&Field> {
        self.fields.iter().filter(|f| f.how != How::Hidden && f.more).collect()
    }
    /// On a correction: fields that had something in them, which emptied means that it is not so.
    pub fn clears(&self) -> impl Iterator<Item = &str> {
        let clears = |f: &&Field| !self.corrects.is_empty() && f.had && f.how != How::Hidden && !f.need;
        self.fields.iter().filter(clears).map(|f| f.name.as_str())
    }
    /// Fields not seen.
    pub fn unseen(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|f| f.how == How::Hidden)
    }
    /// Whether those seldom needed are open: something stands in them that was typed, or is wrong.
    #[must_use]
    pub fn opened(&self) -> bool {
        self.fields.iter().any(|f| f.more && !f.fault.is_empty()) || (self.typed.is_some() && self.is_faulty())
    }
}

/// What saying it again means, as the words of a button.
#[must_use]
pub fn despite_words(code: &str) -> &'static str {
    match code {
        "not_on_record" => "It happened all the same; it was never logged",
        "alloy_differs" => "It really was another alloy",
        "lot_short" => "There really was more than the book says",
        "pattern_is_unique" => "It is made anew, as said above",
        "client_metal" => "The client's metal really went there",
        "crucible_in_use" => "Use the crucible all the same",
        _ => "Record it all the same",
    }
}

//! The window's words: one file for each language, each message under a name.
//!
//! Messages are in Fluent, a format made for translators: a language has the plural forms it needs, and puts
//! values where its grammar wants them. `app/locales/en.ftl` is what all others are made from; a message that a
//! translation lacks is shown in English.

use std::cell::OnceCell;
use std::sync::OnceLock;

use fluent_bundle::{FluentArgs, FluentBundle, FluentResource, FluentValue};
use unic_langid::{LanguageIdentifier, langid};

/// The messages in English.
pub const ENGLISH: &str = include_str!("../../locales/en.ftl");

/// The language in use, other than English: what it is called and its messages.
static CHOSEN: OnceLock<(LanguageIdentifier, String)> = OnceLock::new();

thread_local! {
    /// Each thread reads the messages once, so that no drawing waits for a lock.
    static MESSAGES: OnceCell<FluentBundle<FluentResource>> = const { OnceCell::new() };
}

/// Chooses the language, once, before the window is made; tells whether it was still free to be chosen.
pub fn choose(language: LanguageIdentifier, messages: String) -> bool {
    CHOSEN.set((language, messages)).is_ok()
}

/// A value within a message.
pub trait Value {
    /// As Fluent takes it: numbers stay numbers, for plural forms turn on them.
    fn value(&self) -> FluentValue<'_>;
}

impl Value for str {
    fn value(&self) -> FluentValue<'_> {
        self.into()
    }
}

impl Value for String {
    fn value(&self) -> FluentValue<'_> {
        self.as_str().into()
    }
}

impl<T: Value + ?Sized> Value for &T {
    fn value(&self) -> FluentValue<'_> {
        (**self).value()
    }
}

macro_rules! number_values {
    ($($number:ty)*) => {$(
        impl Value for $number {
            fn value(&self) -> FluentValue<'_> {
                (*self).into()
            }
        }
    )*};
}

number_values!(u32 u64 usize f64);

/// Says a message; its name, should there be none.
pub fn say(name: &str, values: &[(&'static str, FluentValue<'_>)]) -> String {
    MESSAGES.with(|messages| {
        let messages = messages.get_or_init(read);
        let Some(pattern) = messages.get_message(name).and_then(|message| message.value()) else {
            return name.to_owned();
        };
        let values: FluentArgs<'_> = values.iter().cloned().collect();
        let mut wrong = Vec::new();
        let said = messages.format_pattern(pattern, Some(&values), &mut wrong).into_owned();
        debug_assert!(wrong.is_empty(), "message {name}: {wrong:?}");
        said
    })
}

fn read() -> FluentBundle<FluentResource> {
    let english = langid!("en");
    let language = CHOSEN.get().map_or_else(|| english.clone(), |(language, _)| language.clone());
    let mut messages = FluentBundle::new(vec![language, english]);
    // The marks that keep text of two directions apart would be read aloud and counted as letters.
    messages.set_use_isolating(false);
    for source in std::iter::once(ENGLISH).chain(CHOSEN.get().map(|(_, source)| source.as_str())) {
        // What is wrong in a file is left out, and the rest of it used.
        let resource = FluentResource::try_new(source.to_owned()).unwrap_or_else(|(rest, _)| rest);
        messages.add_resource_overriding(resource);
    }
    messages
}

/// Says one of the window's messages: `t!("name")`, or `t!("name", value = ...)`.
macro_rules! t {
    ($name:literal $(, $value:ident = $what:expr)* $(,)?) => {
        $crate::window::text::say($name, &[$((
            stringify!($value), $crate::window::text::Value::value(&$what),
        )),*])
    };
}
pub(crate) use t;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_english_file_has_no_mistake_and_no_name_twice() {
        let resource = FluentResource::try_new(ENGLISH.to_owned());
        let resource = resource.map_err(|(_, errors)| errors).unwrap();
        let mut messages: FluentBundle<FluentResource> = FluentBundle::new(vec![langid!("en")]);
        messages.add_resource(resource).unwrap();
    }

    #[test]
    fn numbers_choose_the_form_and_words_stay_as_they_are() {
        assert_eq!(t!("count-stops", n = 1_usize), "1 stop");
        assert_eq!(t!("count-stops", n = 2_400_usize), "2400 stops");
        assert_eq!(t!("controls-start-shoot", missing = "007"), "Start: shoot 007");
        assert_eq!(t!("no-such-name"), "no-such-name");
    }
}

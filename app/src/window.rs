//! The window: shows state, sends intents, owns none of the logic.

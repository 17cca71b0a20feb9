//! Stops as people name them: `3,7,180deg`, `5-9`.

use std::collections::BTreeSet;

use session_core::angle::Angle;
use session_core::plan::Stop;

/// Finds the stops that a text names, in shooting order; numbers count from 1, angles name every row's
/// stop there.
///
/// # Errors
/// What part of the text names no stop, and what would.
pub fn stops(text: &str, stops: &[Stop]) -> Result<Vec<u32>, String> {
    let mut picked = BTreeSet::new();
    for item in text.split(',').map(str::trim).filter(|item| !item.is_empty()) {
        picked.extend(one(item, stops)?);
    }
    if picked.is_empty() {
        return Err(format!("'{text}' names no stop; write numbers or angles such as 3,7,180deg"));
    }
    Ok(picked.into_iter().collect())
}

fn one(item: &str, stops: &[Stop]) -> Result<Vec<u32>, String> {
    let indices: Vec<u32> = stops.iter().map(|stop| stop.index).collect();
    let (first, last) = (indices.first().copied().unwrap_or(0), indices.last().copied().unwrap_or(0));
    if let Some(degrees) = item.strip_suffix("deg").or_else(|| item.strip_suffix('°')) {
        let angle: Angle = degrees.parse().map_err(|error| format!("{error}"))?;
        let angle = angle.wrapped();
        let found: Vec<u32> = stops
            .iter()
            .filter(|stop| {
                let at = stop.angle.wrapped();
                at == angle || at.short_degrees() == angle.short_degrees()
            })
            .map(|stop| stop.index)
            .collect();
        if found.is_empty() {
            let nearest = stops.iter().min_by_key(|stop| stop.angle.wrapped().distance_round(angle));
            let hint = nearest.map_or_else(String::new, |stop| {
                format!("; the nearest is stop {} at {}°", stop.index, stop.angle.wrapped().short_degrees())
            });
            return Err(format!("the set has no stop at {degrees}°{hint}"));
        }
        return Ok(found);
    }
    let number = |text: &str| {
        text.trim().parse::<u32>().map_err(|_| format!("'{item}' is no stop; write a number such as 3, a range such as 5-9, or an angle such as 180deg"))
    };
    let (from, to) = match item.split_once('-') {
        Some((from, to)) => (number(from)?, number(to)?),
        None => (number(item)?, number(item)?),
    };
    let found: Vec<u32> = indices.into_iter().filter(|index| (from..=to).contains(index)).collect();
    if found.is_empty() {
        return Err(format!("the set has no stop {item}; its stops are {first} to {last}"));
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use session_core::plan::{Plan, Row};

    #[test]
    fn stops_of_several_rows_come_row_by_row_however_they_are_typed() {
        let mut plan = Plan::single_row("LH-1", 4);
        plan.rows.push(Row::full_turn("high", 4));
        let stops = plan.stops("2026-03-14").unwrap_or_default();
        assert_eq!(super::stops("90deg,0deg,7,7", &stops), Ok(vec![1, 2, 5, 6, 7]));
        assert!(super::stops("33deg", &stops).is_err());
    }
}

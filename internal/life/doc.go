// Package life says when a hose assembly is due, and shows its working.
//
// The main idea: several things wear an assembly at once, and each is a clock
// that runs from 0 (new) to 1 (spent): open findings, work above the rating,
// calendar time, heat, running hours, pressure cycles. The clock that is spent
// first governs, and its day is the due date. What is not known must not look
// good: a clock that lacks data says what it lacks and the estimate is marked
// incomplete. Everything is a pure function of an Assembly and a day; all wear
// is linear between the days on which anything changes, so the dates are found
// in closed form, and the tests hold them to a day-by-day summation.
//
// It does not learn from a fleet's removals, stores nothing, reads no clock,
// and never replaces an inspection.
//
// Choices made here, each on the strict side, where no rule is written down:
//
//   - A hose older when assembled than its policy allows counts as assembled
//     on the last day it might have been: a new stamp makes no hose younger.
//   - Dates out of order by up to a year (a year or quarter is known by its
//     first day only) are taken at the earlier one and warned about; further
//     apart they are an error.
//   - A limit from the hose's make without a make date counts from the
//     assembly less 48 months.
//   - Before the first row of conditions the first row holds. Time between the
//     first fitting and the first known machine was worked for unknown hours.
//   - Facts dated after the day of the estimate are not known on it: findings,
//     their closing, inspections, assessments, removals. Rows of conditions
//     are: they are plans, and a plan to work over the rating shows.
//   - Pressures in rows of no cycles still count for the rating.
//   - Unknown pressures leave the rating clock without data, unless the line
//     is known to see no cycles.
//   - The heat clock needs the fluid's temperature, the hose's highest and the
//     running hours even where what is known is cool.
//   - Hot surroundings round the clock are a lower bound for every
//     temperature; where only running temperatures are given, they count.
//   - An unknown test temperature of the curve is 100 degrees, the lowest of
//     the published ones. A construction that is unknown, or does not say what
//     bears the pressure, counts as wire, warned.
//   - Overheating, planned too, asks for an inspection on the day it begins;
//     seen since but still hot, the day after; over, but not seen since it ended, on
//     that day.
//   - A policy without month limits runs heat against 72 months from assembly;
//     adding a first limit longer than that is milder than having none.
//   - What over-rating is known makes the rating clock due even where other
//     pressures are not known; where that day is still to come it also says
//     what is missing.
//   - The 28 days of readings that a trend needs are days out of lay-up, and
//     without any reading the band opens into the past as well.
//   - An assembly in store is judged by the fast path of hours, and none with
//     an open finding of class stop or replace may be fitted.
//   - A policy's damage limit above 0.5 or factor for assumed cycles below 2,
//     and months longer than those for normal demand where nobody says who
//     lengthened them, are warned about as limits that were lengthened.
//   - An instant within a millionth of a day before midnight is that midnight,
//     so that sums do not hang on the last bit.
package life

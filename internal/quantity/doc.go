// Package quantity holds the measured things the rest of the program speaks
// of: pressure, length, temperature, calendar dates and calendar periods. It
// parses what people write, converts, and prints it back.
//
// The main idea is that a unit is part of the type, so bar and psi cannot be
// mixed by accident: inside the program a pressure is bar, a length mm, a
// temperature degrees Celsius; other units exist only at the edge, where text
// is read or printed. A calendar date is a day and nothing else: no clock, no
// time zone.
//
// The package reads no clock and does no I/O.
package quantity

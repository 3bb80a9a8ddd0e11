// Package hose knows the trade of hydraulic hose: sizes and their many names,
// designations and their published ratings, the printed line on a hose and
// the stamp on an assembly, end fittings, the rating of an assembly, cut
// lengths and what a mark must carry.
//
// The main idea is that nothing is guessed in silence. A text with two
// readings gives both and says so; where one number has to be used, it is
// the one that makes a hose look worse: the lower pressure, the earlier day.
// Every published figure keeps its standard, where it is from and how far to
// trust it; doubtful figures are not kept at all.
//
// The tables are embedded files (tables/). The package reads no clock, does
// no I/O and says nothing about when a hose is due: that is package life.
package hose

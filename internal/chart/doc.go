// Package chart draws series as accessible SVG.
//
// The main idea is that a drawing is as wide as the place it is put in: all
// positions along the time axis are percentages, all heights and letters are
// pixels, so that one drawing is readable on a sheet of paper and on a phone.
// It uses presentation attributes and classes only, never a style, takes its
// ink from the text round it (currentColor), carries a title and a description
// and begins every id with the caller's prefix, so that many stand on a page.
//
// The package knows nothing of hoses, statuses or registers and chooses no
// words: days are numbers, texts are given by the caller and escaped here.
package chart

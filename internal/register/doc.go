// Package register is the domain: sites, machines, positions, the assemblies
// that sat there and what happened to them, and the rules that hold between
// these.
//
// The main idea is that every change is a command, one type per change, used
// alike by pages, imports, programs and the demo fleet. A command names things
// by what people call them (a machine code, a position name), checks itself
// as far as that is possible without a register, and is applied by package
// store in one transaction. What the register knows of a machine is gathered
// into Facts, from which LifeInput makes the input of package life: this is
// the only way from stored rows to a due date.
//
// The package holds types, rules and errors. It stores nothing, reads no clock
// and knows no page.
package register

package register_test

import (
	"testing"

	"hoseward/internal/register"
)

func TestTitle_SaysWhatWasDone(t *testing.T) {
	fit := register.Fit{AssemblyCode: "H-2", Machine: "RT-04", Position: "lift cylinder"}
	remove := register.Remove{AssemblyCode: "H-1"}
	for _, tc := range []struct {
		cmds []register.Command
		want string
	}{
		{nil, ""},
		{[]register.Command{remove, fit}, "Swap at RT-04, lift cylinder"},
		{[]register.Command{remove, register.AddAssembly{}, register.Fit{Machine: "RT-04", Position: "lift cylinder"}}, "Swap at RT-04, lift cylinder"},
		{[]register.Command{register.Remove{AssemblyCode: "h-2"}, fit}, "Move of H-2 to RT-04, lift cylinder"},
		{[]register.Command{fit, register.Remove{AssemblyCode: "H-2"}}, "Earlier fitting at RT-04, lift cylinder"},
		{[]register.Command{register.AddAssembly{}, fit}, "Fitting at RT-04, lift cylinder"},
		{[]register.Command{remove}, "Removal of H-1"},
		{[]register.Command{register.Remove{AssemblyCode: "H-1", Scrapped: true}}, "Removal of H-1, scrapped"},
		{[]register.Command{register.AddReading{Machine: "RT-04"}}, "Reading at RT-04"},
		{[]register.Command{register.AddReading{Machine: "RT-04"}, register.AddReading{Machine: "RT-05"}}, "2 readings"},
		{[]register.Command{register.AddMachine{Code: "RT-9"}, register.AddPosition{Machine: "RT-9", Name: "lift"}}, "New machine RT-9 and 1 more"},
		{[]register.Command{register.ChangePlacement{}}, "Correction of a fitting"},
		{[]register.Command{register.TakeBack{What: register.ThingInspection}}, "Taken back: an inspection"},
		{[]register.Command{register.SetConditionsAt{Positions: []int64{1, 2}}}, "Service conditions at 2 positions"},
		{[]register.Command{register.RetireMachine{Machine: "RT-1"}}, "Machine RT-1 left the fleet"},
	} {
		if got := register.Title(tc.cmds...); got != tc.want {
			t.Errorf("%+v is %q, want %q", tc.cmds, got, tc.want)
		}
	}
}

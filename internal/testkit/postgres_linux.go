package testkit

import (
	"os/exec"
	"syscall"
)

// apply makes a program run as the account, and end when the tests are cut
// off.
func (a *account) apply(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGINT}
	if a != nil {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
}

// endWithTests makes a program end when the tests are cut off.
func endWithTests(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}

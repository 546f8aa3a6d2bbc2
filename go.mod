module packlink

go 1.26

require (
	github.com/creack/pty v1.1.24
	github.com/goccy/go-yaml v1.19.2
	github.com/google/go-cmp v0.7.0
	github.com/grid-x/modbus v0.0.0-20260701064235-82e41c9acfb6
	github.com/rogpeppe/go-internal v1.16.0
	github.com/spf13/pflag v1.1.0
	go.bug.st/serial v1.8.0
	go.einride.tech/can v0.17.0
	go.uber.org/goleak v1.3.0
	golang.org/x/sys v0.43.0
	golang.org/x/term v0.31.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/grid-x/serial v0.0.0-20211107191517-583c7356b3aa // indirect
	golang.org/x/net v0.38.0 // indirect
	golang.org/x/sync v0.11.0 // indirect
	golang.org/x/tools v0.26.0 // indirect
)

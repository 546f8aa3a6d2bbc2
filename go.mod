module packlink

go 1.26

require (
	github.com/goccy/go-yaml v1.19.2 // indirect
	github.com/google/go-cmp v0.7.0 // indirect
	github.com/grid-x/modbus v0.0.0-20260701064235-82e41c9acfb6 // indirect
	github.com/grid-x/serial v0.0.0-20211107191517-583c7356b3aa // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/spf13/pflag v1.1.0 // indirect
	go.einride.tech/can v0.17.0 // indirect
	go.uber.org/goleak v1.3.0 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)

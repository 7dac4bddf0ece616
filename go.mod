module groundwork

go 1.26

ignore ./web/ui

require (
	github.com/alecthomas/kong v1.17.0 // indirect
	github.com/bahlo/generic-list-go v0.2.0 // indirect
	github.com/buger/jsonparser v1.1.2 // indirect
	github.com/expr-lang/expr v1.17.8 // indirect
	github.com/goccy/go-yaml v1.19.2 // indirect
	github.com/google/go-cmp v0.7.0 // indirect
	github.com/hashicorp/errwrap v1.1.0 // indirect
	github.com/hashicorp/go-multierror v1.1.1 // indirect
	github.com/invopop/jsonschema v0.14.0 // indirect
	github.com/jotaen/kong-completion v0.0.4 // indirect
	github.com/pb33f/ordered-map/v2 v2.3.1 // indirect
	github.com/peterstace/simplefeatures v0.50.0 // indirect
	github.com/pkg/errors v0.9.1 // indirect
	github.com/posener/complete v1.2.3 // indirect
	github.com/riywo/loginshell v0.0.0-20200815045211-7d26008be1ab // indirect
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.3 // indirect
	github.com/tetratelabs/wazero v1.12.0 // indirect
	github.com/tidwall/geoindex v1.7.0 // indirect
	github.com/tidwall/rtree v1.10.0 // indirect
	go.yaml.in/yaml/v4 v4.0.0-rc.2 // indirect
	golang.org/x/sys v0.44.0 // indirect
	golang.org/x/text v0.14.0 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)

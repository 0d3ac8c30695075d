# Pourbook in a container: one binary, one volume. See docs/docker.md.

# Both bases are the public images; another registry or a local stand-in is named
# with --build-arg.
ARG RUST_IMAGE=rust:1.95-slim-bookworm
ARG BASE_IMAGE=debian:bookworm-slim

FROM ${RUST_IMAGE} AS build
WORKDIR /build
# The dependencies change seldom and take long: they get a layer of their own, built
# against an empty crate.
COPY Cargo.toml Cargo.lock ./
RUN mkdir src benches && echo 'fn main() {}' > src/main.rs && touch src/lib.rs \
    && for bench in $(sed -n '/^\[\[bench\]\]/,/^$/s/^name = "\(.*\)"/\1/p' Cargo.toml); do \
        cp src/main.rs "benches/$bench.rs"; done \
    && cargo build --release --locked --bin pourbook \
    && rm -r src benches
COPY . .
# The empty crate's files are newer than the copied ones; cargo goes by time.
RUN touch src/main.rs src/lib.rs \
    && cargo build --release --locked --bin pourbook

FROM ${BASE_IMAGE}
# A fixed number, so that a bind-mounted folder can be given to it beforehand.
RUN groupadd --system --gid 10001 pourbook \
    && useradd --system --uid 10001 --gid 10001 --no-create-home \
        --home-dir /data --shell /usr/sbin/nologin pourbook \
    && install -d -m 0750 -o pourbook -g pourbook /data
COPY --from=build /build/target/release/pourbook /usr/local/bin/pourbook
# The shop's days and months are its own: the time zones are needed.
COPY --from=build /usr/share/zoneinfo /usr/share/zoneinfo
USER pourbook
WORKDIR /data
VOLUME /data
ENV POURBOOK_DATA=/data \
    POURBOOK_LISTEN=0.0.0.0:8080
EXPOSE 8080
# The binary asks itself: nothing else needs to be installed.
HEALTHCHECK --interval=30s --timeout=5s --start-period=20s --retries=3 \
    CMD ["pourbook", "health"]
# The server finishes what it has taken in before it goes.
STOPSIGNAL SIGTERM
ENTRYPOINT ["pourbook"]
CMD ["serve"]

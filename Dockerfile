# The service for an installation with a database server of its own; docker-compose.yml runs it.
# The base must be glibc's: the wheels with compiled parts are made for it.

FROM python:3.13-slim AS build
ENV PIP_NO_CACHE_DIR=1 PIP_DISABLE_PIP_VERSION_CHECK=1
RUN python -m venv /opt/venv
COPY requirements.txt /
RUN /opt/venv/bin/pip install --require-hashes --only-binary :all: -r /requirements.txt
COPY . /opt/duct-flow-record
WORKDIR /opt/duct-flow-record
# Collecting files needs the settings, and those a key: one that is forgotten with this step, so
# that no two installations ever share one.
RUN DATA_DIR=/tmp/build /opt/venv/bin/python manage.py collectstatic --no-input \
    && rm -rf /tmp/build \
    && /opt/venv/bin/python -m compileall -q .

FROM python:3.13-slim
ENV PATH=/opt/venv/bin:$PATH PYTHONUNBUFFERED=1 DATA_DIR=/var/lib/duct-flow-record
# The processes share the cores already; threads of linear algebra would only get in their way.
ENV OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1
# The letters of reports; without them those of ReportLab stand in, which know western Latin only.
RUN apt-get update && apt-get install --yes --no-install-recommends fonts-dejavu-core \
    && rm -rf /var/lib/apt/lists/*
RUN useradd --system --uid 10001 --home-dir /var/lib/duct-flow-record --create-home record
COPY --from=build /opt/venv /opt/venv
COPY --from=build /opt/duct-flow-record /opt/duct-flow-record
WORKDIR /opt/duct-flow-record
USER record
VOLUME /var/lib/duct-flow-record
EXPOSE 8000
STOPSIGNAL SIGTERM
CMD ["granian", "--interface", "wsgi", "--no-ws", "--host", "0.0.0.0", "--port", "8000", \
     "--workers", "2", "--blocking-threads", "4", "--respawn-failed-workers", \
     "--workers-kill-timeout", "5", "config.wsgi:application"]

FROM node:22-bookworm-slim AS build
WORKDIR /service
COPY package.json package-lock.json prisma.config.ts ./
COPY prisma ./prisma
RUN npm ci --omit=optional
COPY tsconfig.json tsconfig.build.json ./
COPY src ./src
COPY seed ./seed
RUN npm run build && npm prune --omit=dev --omit=optional --ignore-scripts

FROM node:22-bookworm-slim
ENV NODE_ENV=production HOST=0.0.0.0 DATA_FOLDER=/data
WORKDIR /service
COPY --from=build /service/node_modules ./node_modules
COPY --from=build /service/dist ./dist
COPY package.json ./
COPY prisma ./prisma
RUN mkdir /data && chown node /data
USER node
VOLUME /data
EXPOSE 8080
CMD ["node", "dist/src/main.js"]
